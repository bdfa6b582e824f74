/* Whose turn it is: the panels in the window are asked for at once, the others after them, nearest first.

   A panel is fetched from an address of its own. One that is live, or has a form, has a store "due": a new value in it
   makes Dash ask the server for it. */
(function () {
  "use strict";
  const GIVEN_UP = 60000;
  const TOGETHER = 3; // also out of sight: while one is drawn here, the server works on the next
  let now = 0; // the round
  let view = ""; // what its panels are asked for
  let written = "null"; // what this reader has written down since the page was opened
  const away = new Set(); // panels of this round that the server has not answered yet

  const bodies = () => document.querySelectorAll(".panel-body[data-panel]");
  const nameOf = (body) => body.dataset.panel;
  const media = window.matchMedia("(max-width: 600px)");
  let phone = media.matches;
  media.addEventListener("change", () =>
    setTimeout(() => {
      phone = media.matches;
      soon();
    }, 250) // a window is small for a moment while its picture is taken
  );
  let left = new AbortController(); // ends what is on its way for a view that was left

  /* The address has changed, or what is shown under it: everything on the page is due. */
  function begin(of) {
    view = of;
    now += 1;
    window.evenfootAhead.leave();
    away.clear();
    left.abort();
    left = new AbortController();
    bodies().forEach(wait);
  }
  const isAsked = (body) => body.evenfootAsked === now + " " + nameOf(body);

  function distance(body) {
    const box = body.closest(".panel").getBoundingClientRect();
    if (box.bottom < 0) return -box.bottom;
    return Math.max(0, box.top - window.innerHeight);
  }

  function ask(body) {
    const name = nameOf(body);
    const round = now;
    body.evenfootAsked = now + " " + name;
    away.add(name);
    if ("live" in body.dataset) window.dash_clientside.set_props({ type: "due", name: name }, { data: round });
    else fetchPanel(body, name, round);
    setTimeout(() => answered(name, round), GIVEN_UP);
  }

  const refused = (words) => [["p", { class: "mistake", role: "alert" }, [words]]];
  function fetchPanel(body, name, round) {
    const asked = new URLSearchParams({ path: window.location.pathname, search: window.location.search });
    if (phone) asked.set("narrow", "1");
    body.dataset.asked = "";
    window
      .fetch("/_panel/" + name + "?" + asked, { signal: left.signal })
      .then((answer) => (answer.ok ? answer.json() : answer.text().then(refused)))
      .then((parts) => {
        if (round === now && body.isConnected) window.evenfootPanels.fill(body, parts);
      })
      .catch((problem) => {
        // That the server is silent is said above the page.
        if (!["AbortError", "TypeError"].includes(problem.name)) throw problem;
      })
      .finally(() => {
        if (round === now) delete body.dataset.asked;
        answered(name, round);
        const panel = body.closest("[data-form]");
        if (panel && round === now) window.dash_clientside.set_props({ type: "due", name: name }, { data: round });
      });
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
    const page = document.querySelector(".panels");
    // Until the page of a new address has come, the panels are those of the page that is being left.
    if (!page || page.dataset.path !== window.location.pathname || document.hidden) return;
    const due = [window.location.pathname, window.location.search, phone, written].join(" ");
    if (due !== view) begin(due);
    const later = [];
    for (const body of bodies()) {
      if (isAsked(body)) continue;
      const far = distance(body);
      if (!far) ask(body);
      else later.push({ far, body });
    }
    later.sort((one, other) => one.far - other.far);
    while (later.length && away.size < TOGETHER) ask(later.shift().body);
    if (!later.length && !away.size) whole();
  }

  let seen = 0; // the round that was whole
  function whole() {
    if (seen === now) return;
    seen = now;
    window.evenfootAhead.look();
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
  window.addEventListener("popstate", soon);
  window.addEventListener("_dashprivate_pushstate", soon);

  /* The server's answer to a panel ends its turn, whether it was good or not. */
  const send = window.fetch;
  window.fetch = function (_where, options) {
    const going = send.apply(window, arguments);
    const text = options && options.body;
    if (typeof text !== "string" || text.length > 20000) return going;
    if (!text.includes('"type":"panel"')) return going;
    const body = JSON.parse(text);
    const place = body.outputs && body.outputs.id;
    if (!place || place.type !== "panel") return going;
    const done = () => setTimeout(() => answered(place.name, body.inputs[0].value), 0);
    going.then(done, done);
    return going;
  };

  window.evenfootTurns = {
    next,
    /* The address has changed, a page has been put up, or something has been written down. */
    renew: function (what) {
      if (what !== written) window.evenfootAhead.forget();
      written = what;
      soon();
      return now;
    },
  };
})();
