/* When the figures of a page last changed: read by the speed measurements, never part of the dashboard. */
(() => {
  const clock = { from: 0, window: 0, whole: 0 };
  const note = (records) => {
    const now = performance.now();
    const panels = new Set(); // and single charts and forms, which may be below the window
    let last = null;
    for (const record of records) {
      if (record.target === last) continue;
      last = record.target;
      const at = last.nodeType === 1 ? last : last.parentElement;
      // What was taken off the page is nowhere on it.
      const panel = at && at.isConnected && at.closest(".chart, .under, .panel, h1, .question, #trail, #choices, #content");
      if (panel) panels.add(panel);
    }
    if (panels.size) clock.whole = now;
    if ([...panels].some((panel) => panel.getBoundingClientRect().top < window.innerHeight)) clock.window = now;
  };
  new MutationObserver(note).observe(document, {
    subtree: true, childList: true, characterData: true, attributes: true, attributeFilter: ["d", "src"],
  });
  const busy = () => document.querySelector(".skeleton, [data-dash-is-loading=true]") !== null
    || document.querySelector("main h1") === null;
  window.evenfootClock = {
    start: () => { clock.from = performance.now(); clock.window = clock.whole = 0; },
    /* [first window, whole page] in ms once nothing has changed for `quiet` ms, else null */
    settled: (quiet) => {
      if (busy() || !clock.whole || performance.now() - clock.whole < quiet) return null;
      return [clock.window - clock.from, clock.whole - clock.from];
    },
  };
})();
