/* The views that may be opened next are drawn and kept by the server before they are asked for (dashboard/ahead.py):
   where a hand or the keyboard rests, at once; when the page is whole and its reader is still, the pages of the
   navigation, what the marks and links in the window lead to and what the page's first choice offers, in turn and one
   at a time. A browser set to ask for less
   asks for none of it. */
(function () {
  "use strict";
  const STILL = 300;
  const RESTS = 80; // a hand that only passes does not count
  const APART = 30;
  const LONG = 1500; // a ledger on which a view takes longer is not asked for what nobody may want
  const MOST = 24; // marks and links of one window
  const OF_ONE = 8; // marks of one chart
  const WORTH = 300000; // how long a view asked for is thought to be there still

  const asked = new Map(); // by address, when
  const list = [];
  let round = 0;
  let away = false;

  const spares = () => navigator.connection && navigator.connection.saveData;
  const ours = (link) =>
    link.origin === window.location.origin && !link.target && !link.hasAttribute("download") && !link.hash;
  const here = () => window.location.pathname + window.location.search;

  function known(href) {
    return href === here() || Date.now() - (asked.get(href) || -WORTH) < WORTH;
  }

  async function draw(href) {
    asked.set(href, Date.now());
    const [path, query] = href.split("?");
    const of = new URLSearchParams({ path, search: query ? "?" + query : "" });
    if (window.matchMedia("(max-width: 600px)").matches) of.set("narrow", "1");
    const answer = await window.fetch("/_ahead?" + of, { priority: "low" });
    if (answer.status === 202) asked.delete(href);
    return answer.status;
  }

  async function one(of) {
    if (of !== round || away || document.hidden) return;
    let href = list.shift();
    while (href && known(href)) href = list.shift();
    if (!href) return;
    away = true;
    const start = performance.now();
    let status = 0;
    try {
      status = await draw(href);
    } catch {
      list.length = 0; // that the server is silent is said above the page
    }
    away = false;
    if (status === 202) list.unshift(href);
    if (status > 204 || performance.now() - start > LONG) list.length = 0;
    setTimeout(one, status === 202 ? 10 * APART : APART, round);
  }

  function marks(chart) {
    const found = new Set();
    (chart.data || []).forEach((trace) =>
      (Array.isArray(trace.customdata) ? trace.customdata : []).forEach((data) => {
        const to = (Array.isArray(data) ? data[0] : data) || {};
        if (to.to) found.add(to.to);
      })
    );
    return [...found].slice(0, OF_ONE);
  }
  function inWindow(element) {
    const box = element.getBoundingClientRect();
    return box.height && box.bottom > 0 && box.top < window.innerHeight;
  }

  function inTurn(lists) {
    const out = [];
    for (let at = 0; lists.some((list) => at < list.length); at += 1)
      lists.forEach((list) => at < list.length && out.push(list[at]));
    return out;
  }

  function collect() {
    const pages = [...document.querySelectorAll("#navigation a[href]")];
    const at = pages.findIndex((link) => link.getAttribute("aria-current"));
    // Whoever reads page after page opens the one after this.
    const next = [...pages.slice(at + 1), ...pages.slice(0, Math.max(at, 0))].map((link) => link.pathname + link.search);
    const leads = [];
    document.querySelectorAll("main a[href], main .plot").forEach((each) => {
      if (!inWindow(each)) return;
      if (each.matches("a")) ours(each) && leads.push(each.pathname + each.search);
      else leads.push(...marks(each));
    });
    const choices = document.getElementById("choices");
    const others = JSON.parse((choices && choices.dataset.leads) || "[]");
    return inTurn([next, [...new Set(leads)].slice(0, MOST), others]);
  }

  /* The page is whole. */
  function look() {
    if (spares()) return;
    const of = ++round;
    setTimeout(() => {
      if (of !== round) return;
      list.length = 0;
      list.push(...collect());
      one(of);
    }, STILL);
  }
  /* The reader waits for something else. */
  function leave() {
    round += 1;
    list.length = 0;
  }

  let resting = 0;
  function rests(href) {
    clearTimeout(resting);
    if (!href || spares() || known(href)) return;
    resting = setTimeout(() => draw(href).catch(() => undefined), RESTS);
  }
  function overLink(event) {
    const link = event.target.closest && event.target.closest("#navigation a[href], main a[href]");
    rests(link && ours(link) ? link.pathname + link.search : null);
  }
  document.addEventListener("pointerover", overLink, { passive: true });
  document.addEventListener("focusin", overLink, { passive: true });

  window.evenfootAhead = {
    look,
    leave,
    rests,
    /* What was drawn may be of records that have changed since. */
    forget: () => asked.clear(),
  };
})();
