/* The marks of the charts that lead somewhere, one for each chart and kind of trace. Read by the tests only. */
() => {
  const found = [];
  document.querySelectorAll(".panel .js-plotly-plot").forEach((chart) => {
    const panel = (chart.closest(".panel").getAttribute("aria-labelledby") || "").replace("title-", "");
    const frame = chart.querySelector("svg.main-svg").getBoundingClientRect();
    const leads = new Set();
    const marks = [];
    chart.calcdata.forEach((points, place) => {
      const trace = chart._fullData[place];
      const data = chart.data[place].customdata || [];
      const goal = (number) => {
        const entry = Array.isArray(data[number]) ? data[number][0] : data[number];
        return entry && entry.to ? entry.to : null;
      };
      const goals = [...data.keys()].map(goal).filter(Boolean);
      goals.forEach((to) => leads.add(to));
      if (!goals.length || trace.visible !== true || trace.type === "heatmap") return;
      const across = chart._fullLayout["xaxis" + trace.xaxis.slice(1)];
      const down = chart._fullLayout["yaxis" + trace.yaxis.slice(1)];
      const at = (x, y) => ({ x: frame.left + across._offset + across.c2p(x), y: frame.top + down._offset + down.c2p(y) });
      const filled = trace.fill === "toself" && trace.mode === "lines";
      const seen = points.filter((point) => point.x !== undefined && point.x !== false && point.y !== undefined && point.y !== false);
      if (!seen.length) return;
      const number = filled ? 0 : Math.max(seen.findIndex((point) => goal(point.i ?? points.indexOf(point))), 0);
      const mean = (name) => seen.reduce((sum, point) => sum + point[name], 0) / seen.length;
      const spot = filled ? at(mean("x"), mean("y")) : at(seen[number].x, seen[number].y);
      marks.push({ kind: filled ? "area" : trace.type + " " + (trace.mode || ""), ...spot });
    });
    if (leads.size) found.push({ panel, leads: [...leads], marks });
  });
  return found;
}
