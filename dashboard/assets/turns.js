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

  const content = () => document.getElementById("content") || document.body;
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

  /* What is on its way for the view that is left ends; what was asked early for the one that comes does not. */
  const early = new Map(); // by panel
  let earlyFor = "";
  function leave(to) {
    if (earlyFor === to) return;
    earlyFor = to;
    early.clear();
    left.abort();
    left = new AbortController();
  }
  const due = () => [window.location.pathname, window.location.search, phone, written].join(" ");

  /* The top of another page is asked for at once, not only when the page has come to put it on. */
  function first() {
    const page = document.querySelector(".panels");
    if (!page || page.dataset.path === window.location.pathname || document.hidden) return;
    const tops = JSON.parse(document.getElementById("navigation").dataset.tops);
    content().dataset.leaving = ""; // an empty place at once, until the page that comes has its own
    leave(due());
    (tops[window.location.pathname] || []).forEach((name) => early.has(name) || early.set(name, get(name)));
  }

  /* The address has changed, or what is shown under it: everything on the page is due. */
  function begin(of) {
    view = of;
    now += 1;
    window.evenfootAhead.leave();
    away.clear();
    leave(of);
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
  function get(name) {
    const asked = new URLSearchParams({ path: window.location.pathname, search: window.location.search });
    if (phone) asked.set("narrow", "1");
    const going = window
      .fetch("/_panel/" + name + "?" + asked, { signal: left.signal })
      .then((answer) => (answer.ok ? answer.json() : answer.text().then(refused)));
    going.catch(() => undefined); // said where it is put on the page
    return going;
  }
  function fetchPanel(body, name, round) {
    body.dataset.asked = "";
    const going = early.get(name) || get(name);
    early.delete(name);
    going
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
    if (!page || page.dataset.path === window.location.pathname) delete content().dataset.leaving;
    if (!page || page.dataset.path !== window.location.pathname || document.hidden) return;
    if (due() !== view) begin(due());
    const later = [];
    let near = 0; // panels in the window that are not there yet: the server works on no others beside them
    for (const body of bodies()) {
      const far = distance(body);
      if (!isAsked(body)) {
        if (far) later.push({ far, body });
        else ask(body);
      }
      if (!far && "waiting" in body.dataset) near += 1;
    }
    later.sort((one, other) => one.far - other.far);
    while (!near && later.length && away.size < TOGETHER) ask(later.shift().body);
    if (!later.length && !away.size) whole();
  }

  let seen = 0; // the round that was whole
  function whole() {
    if (seen === now) return;
    seen = now;
    window.evenfootAhead.look();
  }

  let coming = false;
  function soon() {
    if (coming) return;
    coming = true;
    window.requestAnimationFrame(() => {
      coming = false;
      next();
    });
  }
  window.addEventListener("scroll", soon, { passive: true, capture: true });
  window.addEventListener("resize", soon);
  document.addEventListener("visibilitychange", soon);
  ["popstate", "_dashprivate_pushstate"].forEach((kind) =>
    window.addEventListener(kind, () => {
      first();
      next(); // before Dash, which keeps the browser for a while
    })
  );

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
