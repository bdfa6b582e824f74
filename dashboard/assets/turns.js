/* Whose turn it is: the panels in the window are asked for at once, the others after them, nearest first.

   Every panel has a store "due"; a new value in it makes Dash ask the server for the panel. */
(function () {
  "use strict";
  const GIVEN_UP = 60000;
  const STILL = 1000;
  const TOGETHER = 2; // out of sight: while one is drawn here, the server works on the next
  let now = 0;
  const asked = new Map(); // panel -> the round in which it was last asked for
  const away = new Set(); // panels of this round that the server has not answered yet

  const bodies = () => document.querySelectorAll(".panel-body[id]");
  const nameOf = (body) => JSON.parse(body.id).name;

  function distance(body) {
    const box = body.closest(".panel").getBoundingClientRect();
    if (box.bottom < 0) return -box.bottom;
    return Math.max(0, box.top - window.innerHeight);
  }

  function ask(body) {
    const name = nameOf(body);
    const round = now;
    asked.set(name, round);
    away.add(name);
    window.dash_clientside.set_props({ type: "due", name: name }, { data: round });
    setTimeout(() => answered(name, round), GIVEN_UP);
  }

  function answered(name, round) {
    if (round !== now || !away.delete(name)) return;
    for (const body of bodies()) if (nameOf(body) === name) rest(body);
    const calm = window.requestIdleCallback || ((then) => setTimeout(then, 50));
    calm(next, { timeout: 100 });
  }

  /* What stands in a panel is of the view before until its turn has come: it is shown so, and said so. */
  function wait(body) {
    body.dataset.waiting = "";
    body.setAttribute("aria-busy", "true");
  }
  function rest(body) {
    delete body.dataset.waiting;
    body.removeAttribute("aria-busy");
  }

  function next() {
    if (!now || document.hidden) return;
    const later = [];
    for (const body of bodies()) {
      if (asked.get(nameOf(body)) === now) continue;
      const far = distance(body);
      if (!far) ask(body);
      else later.push({ far, body });
    }
    later.sort((one, other) => one.far - other.far);
    while (later.length && away.size < TOGETHER) ask(later.shift().body);
    if (!later.length && !away.size) lookAhead();
  }

  /* When the page is whole and its reader is still, the top of the pages that may be opened next is drawn and kept
     by the server, one panel at a time. A browser set to ask for less asks for none of it. */
  let still = 0; // the round for which this is being done
  const aheadOf = [];
  function lookAhead() {
    if (still === now || (navigator.connection && navigator.connection.saveData)) return;
    still = now;
    aheadOf.length = 0;
    document.querySelectorAll("#navigation a[data-top]").forEach((link) => {
      if (link.getAttribute("aria-current")) return;
      link.dataset.top.split(" ").filter(Boolean).forEach((name) => aheadOf.push({ path: link.pathname, search: link.search, name }));
    });
    const round = now;
    setTimeout(() => oneAhead(round), STILL);
  }
  function oneAhead(round) {
    if (round !== now || away.size || document.hidden) return;
    const of = aheadOf.shift();
    if (of) window.dash_clientside.set_props("ahead-of", { data: { ...of, round } });
  }

  let due = false;
  function soon() {
    if (due) return;
    due = true;
    window.requestAnimationFrame(() => {
      due = false;
      next();
    });
  }
  window.addEventListener("scroll", soon, { passive: true, capture: true });
  window.addEventListener("resize", soon);
  document.addEventListener("visibilitychange", soon);

  /* The server's answer to a panel ends its turn, whether it was good or not. */
  const send = window.fetch;
  window.fetch = function (_where, options) {
    const going = send.apply(window, arguments);
    const text = options && options.body;
    if (typeof text !== "string" || text.length > 20000) return going;
    if (!text.includes('"type":"panel"') && !text.includes('"ahead.data"')) return going;
    const body = JSON.parse(text);
    if (body.output === "ahead.data") {
      const more = () => setTimeout(() => oneAhead(body.inputs[0].value.round), 100);
      going.then(more, more);
      return going;
    }
    const place = body.outputs && body.outputs.id;
    if (!place || place.type !== "panel") return going;
    const done = () => setTimeout(() => answered(place.name, body.inputs[0].value), 0);
    going.then(done, done);
    return going;
  };

  window.evenfootTurns = {
    next,
    /* The address has changed, or a page has been put up: everything on it is due. */
    renew: function () {
      now += 1;
      away.clear();
      bodies().forEach(wait);
      soon();
      return now;
    },
  };
})();
