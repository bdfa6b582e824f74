/* The browser's part: the address is the state, so a click or a choice only changes the address. */
(function () {
  "use strict";
  /* Where nobody has chosen the colours, a device set to dark gets the dark ones. Put into the address before
     anything reads it, so that the charts are drawn in them too. */
  const dark = window.matchMedia("(prefers-color-scheme: dark)").matches;
  (function () {
    const asked = new URLSearchParams(window.location.search);
    if (!dark || asked.has("theme")) return;
    asked.set("theme", "night");
    window.history.replaceState(window.history.state, "", window.location.pathname + "?" + asked);
  })();

  const none = () => window.dash_clientside.no_update;
  const root = document.documentElement;
  const said = JSON.parse(root.dataset.said || "{}");
  const reading = JSON.parse(root.dataset.reading || "{}");
  const calendar = JSON.parse(root.dataset.calendar || "{}");
  /* Calendars take the names of months and days from here. */
  if (calendar.name) window["dayjs_locale_" + calendar.name] = calendar;

  /* How someone likes to read is kept for the next visit, and in the address for whoever is sent it. */
  function keepReading(name, value) {
    reading[name] = value;
    const text = encodeURIComponent(new URLSearchParams(reading).toString());
    document.cookie = "evenfoot_reading=" + text + "; path=/; max-age=31536000; SameSite=Strict";
    const query = new URLSearchParams(window.location.search);
    query.set(name, value);
    window.location.assign(window.location.pathname + "?" + query.toString());
  }

  /* A choice put on the page by the server is not a choice made: only what a hand has touched changes the address. */
  let touched = false;
  ["pointerdown", "keydown"].forEach((kind) =>
    document.addEventListener(
      kind,
      (event) => {
        if (event.target.closest(".choices, .tools, .picker, .popover, [role=listbox], [data-portal]")) touched = true;
      },
      true
    )
  );
  window.addEventListener("popstate", () => (touched = false));

  function go(href) {
    touched = false;
    if (href === window.location.pathname + window.location.search) return;
    const samePage = href.split("?")[0] === window.location.pathname;
    window.history.pushState({}, "", href);
    window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
    if (!samePage) window.scrollTo(0, 0);
  }

  /* A session that has ended is told by the server; one signs in again and comes back to the same view. */
  const ask = window.fetch;
  window.fetch = function () {
    return ask.apply(window, arguments).then((answer) => {
      // Nobody waits for what is drawn ahead, so nobody is sent away for it.
      if (answer.status === 401 && !String(arguments[0]).startsWith("/_ahead?")) {
        const here = window.location.pathname + window.location.search;
        window.location.assign("/login?next=" + encodeURIComponent(here));
        return new Promise(() => undefined); // the page is being left, and nobody waits for this answer
      }
      return answer;
    });
  };

  /* Links inside the dashboard change the address without loading everything again. */
  document.addEventListener("click", function (event) {
    if (event.defaultPrevented || event.button || event.metaKey || event.ctrlKey || event.shiftKey || event.altKey) return;
    const link = event.target.closest && event.target.closest("a[href]");
    if (!link || link.target || link.hasAttribute("download") || link.origin !== window.location.origin) return;
    if (link.hash && link.pathname === window.location.pathname && link.search === window.location.search) return;
    event.preventDefault();
    const theme = new URLSearchParams(window.location.search).get("theme");
    go(link.pathname + (link.search || (theme ? "?theme=" + theme : "")));
  });

  /* A server that was stopped, or fails, is said; the page stays as it is. */
  const send = window.fetch.bind(window);
  function silent(is) {
    const line = document.getElementById("silent");
    if (line) line.textContent = is ? said.silent : "";
  }
  window.fetch = (...asked) =>
    send(...asked).then(
      (answer) => {
        silent(answer.status >= 500);
        return answer;
      },
      (problem) => {
        if (problem.name !== "AbortError") silent(true);
        throw problem;
      }
    );

  function changed() {
    const hit = window.dash_clientside.callback_context.triggered;
    return hit && hit.length ? hit[0] : null;
  }

  function destination(click) {
    const point = click && click.points && click.points[0];
    if (!point) return null;
    let data = point.customdata;
    if (Array.isArray(data)) data = data[0];
    if (!data && point.data) data = Array.isArray(point.data.customdata) ? point.data.customdata[0] : null;
    return data && data.to ? data.to : null;
  }

  /* A click on a mark leads where the mark says. */
  function listen(chart) {
    if (!chart.on || chart.evenfootEvents === chart._ev) return;
    chart.evenfootEvents = chart._ev;
    chart.on("plotly_click", (click) => {
      const href = destination(click);
      if (href) go(href);
    });
    chart.on("plotly_hover", (over) => window.evenfootAhead.rests(destination(over)));
    chart.on("plotly_unhover", () => window.evenfootAhead.rests(null));
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest && event.target.closest("button[data-picture]");
    if (!button || !window.Plotly) return;
    window.evenfootPanels.finish();
    const section = button.closest(".panel");
    const chart = section.querySelector(".js-plotly-plot");
    if (!chart) return;
    const kind = button.dataset.picture;
    window.Plotly.downloadImage(chart, {
      format: kind,
      filename: "evenfoot-" + section.getAttribute("aria-labelledby").replace("title-", ""),
      width: chart.clientWidth,
      height: chart.clientHeight,
      scale: kind === "png" ? 2 : 1,
    });
  });

  document.addEventListener("click", (event) => {
    if (event.target.closest && event.target.closest("button[data-print]")) window.print();
  });

  /* On a phone, a line that says what is chosen opens the choices. */
  document.addEventListener("click", (event) => {
    const line = event.target.closest && event.target.closest(".choosing");
    if (line) line.setAttribute("aria-expanded", line.closest(".picker, .own").classList.toggle("open"));
  });

  /* Tables: one element carries its rows as text, and the browser builds them; those in a fold when it is opened. */
  let opening = null;
  function folded(place) {
    const fold = place.closest("details");
    return fold !== null && !fold.open && fold !== opening;
  }
  document.addEventListener(
    "click",
    (event) => {
      const fold = event.target.closest && event.target.closest("summary") && event.target.closest("details");
      if (!fold || fold.open) return;
      opening = fold;
      fold.querySelectorAll("[data-table]").forEach(build);
      opening = null;
    },
    true
  );
  document.addEventListener("toggle", () => soon(), true);
  function build(place) {
    const text = place.getAttribute("data-table");
    if (!text || place.evenfootTable === text || folded(place)) return;
    place.evenfootTable = text;
    const content = JSON.parse(text);
    const make = (tag, words, name) => {
      const made = document.createElement(tag);
      if (words !== undefined) made.textContent = words;
      if (name) made.className = name;
      return made;
    };
    const table = make("table");
    table.append(make("caption", content.caption, "unseen"));
    const heads = make("tr");
    content.columns.forEach((words, column) => {
      const head = make("th", words, content.numeric[column] ? "number" : "");
      head.scope = "col";
      heads.append(head);
    });
    const top = make("thead");
    top.append(heads);
    const body = make("tbody");
    content.rows.forEach((row, place) => {
      const line = make("tr");
      row.forEach((words, column) => {
        const cell = make("td", undefined, content.numeric[column] ? "number" : words.length > 28 ? "words" : "");
        const href = column === 0 ? content.links[place] : null;
        if (href) {
          const link = make("a", words);
          link.href = href;
          cell.append(link);
        } else cell.textContent = words;
        line.append(cell);
      });
      body.append(line);
    });
    table.append(top, body);
    place.replaceChildren(table);
  }
  /* A caution is said once a page: by the first panel that has it. */
  function sayOnce() {
    const said = new Set();
    document.querySelectorAll(".panel").forEach((panel) => {
      const mine = [...panel.querySelectorAll(".caution")];
      const again = mine.filter((line) => said.has(line.textContent));
      mine.forEach((line) => {
        line.hidden = again.includes(line);
        said.add(line.textContent);
      });
      panel.querySelectorAll(".above").forEach((line) => (line.hidden = !again.length));
    });
  }
  /* Where the pages stand in one line, the one that is open is in sight. */
  let here = "";
  function showHere() {
    const link = document.querySelector("#navigation a.here");
    if (!link || link.pathname === here) return;
    here = link.pathname;
    const line = link.closest("nav");
    if (line.scrollWidth > line.clientWidth) line.scrollLeft = link.offsetLeft - line.offsetLeft - 24;
  }
  function tend() {
    showHere();
    document.querySelectorAll("[data-table]").forEach(build);
    document.querySelectorAll(".js-plotly-plot").forEach(listen);
    sayOnce();
    window.evenfootTurns && window.evenfootTurns.next();
    /* The upload part gives its hidden file field no name of its own. */
    document.querySelectorAll(".drop input[type=file]:not([aria-label])").forEach((field) =>
      field.setAttribute("aria-label", said.sheet)
    );
  }
  /* Charts change the page many times while they are drawn: tended once a frame. */
  let due = false;
  function soon() {
    if (due) return;
    due = true;
    window.requestAnimationFrame(() => {
      due = false;
      tend();
    });
  }
  new MutationObserver(() => {
    window.evenfootPanels && window.evenfootPanels.unfold(); // before anything is painted
    soon();
  }).observe(document, {
    subtree: true,
    childList: true,
    attributes: true,
    attributeFilter: ["data-table", "data-still"],
  });

  /* Charts are as wide as the window; on paper each is made to fit the narrower of the usual papers. */
  const PAPER = 690;
  window.addEventListener("beforeprint", () => {
    window.evenfootPanels.finish();
    document.querySelectorAll(".chart").forEach((chart) => {
      const beside = chart.parentElement.children.length > 1 && chart.clientWidth < chart.parentElement.clientWidth * 0.7;
      const room = beside ? PAPER / 2 - 8 : PAPER;
      chart.style.setProperty("--on-paper", Math.min(1, room / chart.clientWidth));
    });
  });

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    evenfoot: {
      renew: function (_path, _search, _narrow, written) {
        return window.evenfootTurns.renew(JSON.stringify(written || null));
      },
      /* A chosen row of a grid leads where its "to" says. */
      row: function (rows) {
        if (rows && rows.length && rows[0].to) go(rows[0].to);
        return none();
      },
      width: function () {
        const phone = window.matchMedia("(max-width: 600px)");
        if (!window.evenfootWatches) {
          window.evenfootWatches = true;
          phone.addEventListener("change", () =>
            window.dash_clientside.set_props("narrow", { data: phone.matches })
          );
        }
        return phone.matches;
      },
      theme: function (search) {
        const theme = new URLSearchParams(search || "").get("theme") || "paper";
        document.documentElement.dataset.theme = theme;
        return theme === "night" ? "dark" : "light";
      },
      copy: function () {
        const done = (words) => {
          window.dash_clientside.set_props("copy-link", { children: words });
          setTimeout(() => window.dash_clientside.set_props("copy-link", { children: said.copy }), 2500);
        };
        const address = window.location.href;
        if (!navigator.clipboard) {
          window.prompt(said.copyThis, address);
          return none();
        }
        navigator.clipboard.writeText(address).then(
          () => done(said.copied),
          () => window.prompt(said.copyThis, address)
        );
        return none();
      },
      choose: function () {
        const hit = changed();
        if (!hit || !touched) return none();
        // What a hand has changed is no longer what the server put there.
        window.dash_clientside.set_props("around", { data: null });
        window.dash_clientside.set_props("choices", { "data-stands": null });
        const id = JSON.parse(hit.prop_id.split(".value")[0]);
        if (id.field in reading) {
          if (hit.value && hit.value !== reading[id.field]) keepReading(id.field, hit.value);
          return none();
        }
        const before = window.location.search;
        const query = new URLSearchParams(before);
        let values = hit.value;
        if (id.field === "period") {
          const given = values || [null, null];
          if ((given[0] && !given[1]) || (!given[0] && given[1])) return none();
          query.delete("span");
          query.delete("since");
          query.delete("until");
          if (given[0]) query.set("since", given[0]);
          if (given[1]) query.set("until", given[1]);
        } else {
          query.delete(id.field);
          if (values === null || values === undefined) values = [];
          if (!Array.isArray(values)) values = [values];
          const usual = { visits: "whole-herd", theme: dark ? null : "paper" }[id.field];
          const plain = usual !== undefined && values[0] === usual;
          if (!plain) values.filter(Boolean).forEach((value) => query.append(id.field, value));
          const left = { farms: ["cow", "groups", "cows"], by: ["reference", "adjust", "stratify"] }[id.field] || [];
          const was = new URLSearchParams(before).getAll(id.field).join();
          if (was !== query.getAll(id.field).join()) left.forEach((name) => query.delete(name));
        }
        const text = query.toString();
        const same = new URLSearchParams(before);
        same.sort();
        query.sort();
        if (same.toString() !== query.toString()) go(window.location.pathname + (text ? "?" + text : ""));
        return none();
      },
    },
  });
})();
