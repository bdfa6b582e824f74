/* When the figures of a page last changed: read by the speed measurements, never part of the dashboard. */
(() => {
  const clock = { from: 0, changed: new Map() };
  const note = (records) => {
    const now = performance.now();
    let last = null;
    for (const record of records) {
      if (record.target === last) continue;
      last = record.target;
      const at = last.nodeType === 1 ? last : last.parentElement;
      // What was taken off the page is nowhere on it. Single charts and forms may be below the window.
      const panel = at && at.isConnected && at.closest(".chart, .under, .panel, h1, .question, #trail, #choices, #content");
      if (panel) clock.changed.set(panel, now);
    }
  };
  // Where a panel stands is asked at the end: asked at every change, it took a tenth of the time of a view.
  const latest = (within) => Math.max(0, ...[...clock.changed]
    .filter(([panel]) => panel.isConnected && panel.getBoundingClientRect().top < within)
    .map(([, at]) => at));
  new MutationObserver(note).observe(document, {
    subtree: true, childList: true, characterData: true, attributes: true, attributeFilter: ["d", "src"],
  });
  const busy = () => document.querySelector(".skeleton, [data-dash-is-loading=true]") !== null
    || document.querySelector("main h1") === null;
  window.evenfootClock = {
    start: () => { clock.from = performance.now(); clock.changed.clear(); },
    /* [first window, whole page] in ms once nothing has changed for `quiet` ms, else null */
    settled: (quiet) => {
      const whole = Math.max(0, ...clock.changed.values());
      if (busy() || !whole || performance.now() - whole < quiet) return null;
      return [latest(window.innerHeight) - clock.from, whole - clock.from];
    },
  };
})();
