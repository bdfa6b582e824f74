/* What the server tells as text becomes elements here (dashboard/still.py); texts are set as texts, never as markup. */
(function () {
  "use strict";

  function put(place, parts) {
    parts.forEach((part) => {
      if (typeof part === "string") return place.append(part);
      const [tag, attributes, contents] = part;
      const made = document.createElement(tag === "chart" ? "div" : tag);
      if (tag === "chart") {
        made.className = "plot";
        made.setAttribute("style", attributes.style);
        made.evenfootChart = attributes;
      } else Object.entries(attributes).forEach(([name, value]) => made.setAttribute(name, value));
      put(made, contents);
      place.append(made);
    });
  }

  /* What a reader has opened is open again when the panel is filled anew. */
  const opened = new Set();
  function known(fold) {
    const panel = fold.closest(".panel");
    return panel && panel.getAttribute("aria-labelledby") + " " + fold.querySelector("summary").textContent;
  }
  document.addEventListener(
    "toggle",
    (event) => {
      const fold = event.target;
      if (fold.isConnected && fold.matches(".panel details")) opened[fold.open ? "add" : "delete"](known(fold));
    },
    true
  );

  /* Charts are as wide as their place, whatever changes that. */
  const widths = new WeakMap();
  const watch = new ResizeObserver((entries) =>
    entries.forEach((entry) => {
      const chart = entry.target;
      const width = Math.round(entry.contentRect.width);
      const before = widths.get(chart);
      widths.set(chart, width);
      if (before !== undefined && before !== width && width && chart.isConnected) window.Plotly.Plots.resize(chart);
    })
  );

  function draw(chart) {
    delete chart.dataset.undrawn;
    const { figure, config } = chart.evenfootChart;
    // The place gives the size.
    const layout = Object.assign({}, figure.layout, { autosize: true, width: undefined, height: undefined });
    const how = chart.evenfootDrawn ? "react" : "newPlot";
    chart.evenfootDrawn = true;
    window.Plotly[how](chart, figure.data, layout, config).then(() => watch.observe(chart));
  }

  function drop(chart) {
    watch.unobserve(chart);
    widths.delete(chart);
    if (chart.evenfootDrawn) window.Plotly.purge(chart);
  }

  /* Charts in the window are drawn at once, the others one at a time, nearest first, when there is nothing else to do. */
  const later = new Set();
  const calm = window.requestIdleCallback || ((then) => setTimeout(then, 20));
  function distance(chart) {
    const box = chart.getBoundingClientRect();
    return box.bottom < 0 ? -box.bottom : Math.max(0, box.top - window.innerHeight);
  }
  function drawAll(charts) {
    const waits = later.size;
    charts.forEach((chart) => {
      if (!distance(chart)) return draw(chart);
      chart.dataset.undrawn = "";
      later.add(chart);
    });
    if (later.size && !waits) calm(drawNext, { timeout: 200 });
  }
  function drawNext() {
    let nearest = null;
    later.forEach((chart) => {
      if (!chart.isConnected || !("undrawn" in chart.dataset)) return later.delete(chart);
      const far = distance(chart);
      if (!nearest || far < nearest.far) nearest = { chart, far };
    });
    if (!nearest) return;
    later.delete(nearest.chart);
    draw(nearest.chart);
    if (later.size) calm(drawNext, { timeout: 200 });
  }
  /* For paper, or a picture: whatever still waits is drawn now. */
  function finish() {
    later.forEach((chart) => chart.isConnected && "undrawn" in chart.dataset && draw(chart));
    later.clear();
  }

  /* New contents for a place. A chart that was there is changed into the new one, which is quicker than a new one. */
  function fill(place, parts) {
    const made = document.createDocumentFragment();
    put(made, parts);
    const before = [...place.querySelectorAll(".plot")];
    const after = [...made.querySelectorAll(".plot")];
    before.forEach((chart, at) => {
      if (at >= after.length) return drop(chart);
      chart.evenfootChart = after[at].evenfootChart;
      chart.setAttribute("style", after[at].getAttribute("style"));
      after[at].replaceWith(chart);
    });
    place.replaceChildren(made);
    place.querySelectorAll("details").forEach((fold) => (fold.open = fold.open || opened.has(known(fold))));
    const charts = place.querySelectorAll(".plot");
    if (!charts.length) return;
    if (window.Plotly) drawAll(charts);
    else window.addEventListener("load", () => drawAll([...charts].filter((chart) => chart.isConnected)));
  }

  /* Elements that carry their contents as text. */
  function unfold() {
    document.querySelectorAll("[data-still]").forEach((place) => {
      const text = place.getAttribute("data-still");
      if (place.evenfootStill === text) return;
      place.evenfootStill = text;
      fill(place, JSON.parse(text));
    });
  }

  window.evenfootPanels = { fill, finish, unfold };
  unfold(); // what was there before this script was
})();
