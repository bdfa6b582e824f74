/* What a careful eye would find wrong with a page: gives a list of sentences. Read by the tests only. */
() => {
  const wrong = [];
  const seen = (element) => {
    const box = element.getBoundingClientRect();
    const style = getComputedStyle(element);
    return box.width > 0 && box.height > 0 && style.visibility !== "hidden" && Number(style.opacity) > 0.05;
  };
  const name = (element) => {
    const panel = element.closest(".panel");
    return panel ? (panel.getAttribute("aria-labelledby") || "").replace("title-", "") : element.tagName.toLowerCase();
  };
  const words = (element) => (element.textContent || "").trim().slice(0, 40);
  const root = document.documentElement;

  /* The page itself never scrolls sideways. */
  if (root.scrollWidth - root.clientWidth > 1) {
    const wide = [...document.querySelectorAll("body *")].find(
      (element) => seen(element) && element.getBoundingClientRect().right > root.clientWidth + 1 &&
        !element.closest(".scroll, nav, .skip, .unseen, svg")
    );
    wrong.push(`the page is ${root.scrollWidth - root.clientWidth} px too wide, at ${wide ? name(wide) + " " + words(wide) : "?"}`);
  }

  /* Nothing of our own is cut off, and no box stands outside its panel. */
  document.querySelectorAll("main :is(h1, h2, h3, p, summary, li, label, button, a, td.words)").forEach((element) => {
    if (!seen(element) || element.closest(".unseen, .mantine-Popover-dropdown")) return;
    const style = getComputedStyle(element);
    const cut = (style.overflow === "hidden" || style.textOverflow === "ellipsis") && style.display !== "inline";
    if (cut && element.scrollWidth > element.clientWidth + 1) wrong.push(`${name(element)}: "${words(element)}" is cut off`);
  });
  document.querySelectorAll(".panel").forEach((panel) => {
    const edge = panel.getBoundingClientRect().right;
    panel.querySelectorAll(":is(p, h2, h3, summary, .takeaway > *, .chart, .scroll)").forEach((element) => {
      if (seen(element) && !element.parentElement.closest(".scroll") && element.getBoundingClientRect().right > edge + 1)
        wrong.push(`${name(panel)}: "${words(element)}" sticks out`);
    });
  });

  /* Words of a chart neither leave it nor lie upon each other. */
  const turned = (element) => {
    for (let at = element; at && at.tagName !== "svg"; at = at.parentElement) {
      const angle = /rotate\((-?[\d.]+)/.exec(at.getAttribute("transform") || "");
      if (angle && Math.abs(Number(angle[1])) % 90 > 1) return true;
    }
    return false;
  };
  document.querySelectorAll(".js-plotly-plot").forEach((chart) => {
    if (!seen(chart)) return;
    const frame = chart.getBoundingClientRect();
    const texts = [...chart.querySelectorAll("svg.main-svg text")].filter((text) =>
      seen(text) && words(text) && !text.closest(".hoverlayer") && getComputedStyle(text).fillOpacity !== "0"
    );
    const boxes = texts.map((text) => ({ text, box: text.getBoundingClientRect(), skew: turned(text) }));
    boxes.forEach(({ text, box }) => {
      const over = Math.max(frame.left - box.left, box.right - frame.right, frame.top - box.top, box.bottom - frame.bottom);
      if (over > 3) wrong.push(`${name(chart)}: "${words(text)}" leaves its chart by ${Math.round(over)} px`);
    });
    for (let one = 0; one < boxes.length; one += 1) {
      for (let two = one + 1; two < boxes.length; two += 1) {
        const a = boxes[one], b = boxes[two];
        if (a.skew || b.skew) continue;
        const across = Math.min(a.box.right, b.box.right) - Math.max(a.box.left, b.box.left);
        const down = Math.min(a.box.bottom, b.box.bottom) - Math.max(a.box.top, b.box.top);
        if (across <= 2 || down <= 2) continue;
        const small = Math.min(a.box.width * a.box.height, b.box.width * b.box.height);
        if (across * down > 0.2 * small) wrong.push(`${name(chart)}: "${words(a.text)}" lies on "${words(b.text)}"`);
      }
    }
  });

  /* Every chart says what it is, on what it rests, and gives its numbers. */
  document.querySelectorAll(".panel").forEach((panel) => {
    if (panel.querySelector(".mistake")) wrong.push(`${name(panel)}: ${words(panel.querySelector(".mistake"))}`);
    if (!panel.querySelector(".js-plotly-plot")) return;
    const has = (selector, what) => {
      if (![...panel.querySelectorAll(selector)].some((element) => (element.textContent || "").trim()))
        wrong.push(`${name(panel)}: no ${what}`);
    };
    has("h2", "title");
    /* What stands behind a figure comes when its fold is opened. */
    if (!panel.querySelector(".fold[open]")) {
      has(".fold > summary", "way to how sure it is");
      return;
    }
    has(".basis", "basis");
    if (![...panel.querySelectorAll(".basis")].some((line) => /\d/.test(line.textContent))) wrong.push(`${name(panel)}: no n and dates`);
    has("a.take[download]", "numbers to take");
    has(".fold table tbody tr", "table");
    panel.querySelectorAll(".chart").forEach((chart) => {
      if ((chart.getAttribute("aria-label") || "").length < 20) wrong.push(`${name(panel)}: no description`);
    });
    if (panel.querySelectorAll(".takeaway button").length < 2) wrong.push(`${name(panel)}: no pictures to take`);
    if (!panel.querySelector("details.fold h3")) wrong.push(`${name(panel)}: not said how it was worked out`);
  });

  /* What is pressed is large enough for a thumb (WCAG 2.2, 2.5.8: 24 by 24 CSS px, words in a line excepted). */
  document.querySelectorAll("a[href], button, summary, input, select, [role=button], [role=checkbox]").forEach((element) => {
    if (!seen(element) || element.closest(".unseen, .mantine-Popover-dropdown, td, p, .js-plotly-plot")) return;
    if (element.matches(".skip, input[type=file]") || element.disabled) return;
    const whole = element.matches("input") ? ".mantine-Checkbox-body, .mantine-Radio-body, .mantine-Input-wrapper" : null;
    const target = (whole && element.closest(whole)) || element;
    const box = target.getBoundingClientRect();
    if (box.width < 24 || box.height < 24) wrong.push(`${name(element)}: "${words(element) || element.getAttribute("aria-label") || element.id}" is ${Math.round(box.width)} by ${Math.round(box.height)} px`);
  });
  return [...new Set(wrong)];
}
