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

  const dash = () => window.dash_clientside;
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

  function open(href) {
    touched = false;
    const target = new URL(href, window.location.href);
    if (target.href === window.location.href) return;
    const other = target.pathname !== window.location.pathname;
    dash().set_props("address", { href: target.href });
    if (other) window.scrollTo(0, 0);
  }

  /* Links inside the dashboard change the address without loading everything again. */
  document.addEventListener("click", (event) => {
    if (event.defaultPrevented || event.button || event.metaKey || event.ctrlKey || event.shiftKey || event.altKey) return;
    const link = event.target.closest && event.target.closest("a[href]");
    if (!link || link.target || link.hasAttribute("download") || link.origin !== window.location.origin) return;
    if (link.hash && link.pathname === window.location.pathname && link.search === window.location.search) return;
    event.preventDefault();
    const theme = new URLSearchParams(window.location.search).get("theme");
    open(link.pathname + (link.search || (theme ? "?theme=" + theme : "")));
  });

  document.addEventListener("click", (event) => {
    const on = (selector) => event.target.closest && event.target.closest(selector);
    if (on("button[data-print]")) window.print();
    /* On a phone, a line that says what is chosen opens the choices. */
    const line = on(".choosing");
    if (line) line.setAttribute("aria-expanded", line.closest(".picker, .own").classList.toggle("open"));
    const picture = on("button[data-picture]");
    if (picture) savePicture(picture);
  });

  function savePicture(button) {
    const section = button.closest(".panel");
    const chart = section.querySelector(".js-plotly-plot");
    if (!chart || !window.Plotly) return;
    const kind = button.dataset.picture;
    const width = chart.clientWidth;
    const above = broken(section.querySelector("h2").textContent, width / 11);
    const below = broken(button.closest(".takeaway").dataset.caption || "", width / 7);
    const room = { top: 26 * above.length + 16, bottom: 16 * below.length + 12 };
    const { margin = {}, annotations = [] } = chart.layout;
    const caption = {
      text: below.join("<br>"), align: "left", showarrow: false, font: { size: 11 },
      xref: "paper", yref: "paper", x: 0, y: 0, xanchor: "left", yanchor: "top", xshift: 12 - (margin.l || 80),
      yshift: -(margin.b || 80),
    };
    const height = chart.clientHeight + room.top + room.bottom;
    const layout = Object.assign({}, chart.layout, {
      title: {
        text: above.join("<br>"), x: 0, xanchor: "left", pad: { l: 12 }, y: 1 - 14 / height, yanchor: "top", yref: "container",
      },
      margin: Object.assign({}, margin, { t: (margin.t || 0) + room.top, b: (margin.b || 0) + room.bottom }),
      annotations: [...annotations, caption],
      width,
      height,
      autosize: false,
    });
    window.Plotly.downloadImage({ data: chart.data, layout }, {
      format: kind,
      filename: "evenfoot-" + section.getAttribute("aria-labelledby").replace("title-", ""),
      width,
      height,
      scale: kind === "png" ? 2 : 1,
    });
  }

  /* A text in lines of about so many letters. */
  function broken(text, letters) {
    const lines = [];
    for (const word of text.split(/\s+/)) {
      const last = lines[lines.length - 1];
      if (last !== undefined && (last + " " + word).length <= letters) lines[lines.length - 1] = last + " " + word;
      else lines.push(word);
    }
    return lines;
  }

  /* Charts are as wide as the window; on paper each is made to fit the narrower of the usual papers. */
  const PAPER = 690;
  window.addEventListener("beforeprint", () =>
    document.querySelectorAll(".chart").forEach((chart) => {
      const beside = chart.parentElement.children.length > 1 && chart.clientWidth < chart.parentElement.clientWidth * 0.7;
      const room = beside ? PAPER / 2 - 8 : PAPER;
      chart.style.setProperty("--on-paper", Math.min(1, room / chart.clientWidth));
    })
  );

  /* The upload part gives its hidden file field no name of its own. */
  new MutationObserver(() =>
    document.querySelectorAll(".drop input[type=file]:not([aria-label])").forEach((field) =>
      field.setAttribute("aria-label", said.sheet)
    )
  ).observe(document, { subtree: true, childList: true });

  let shownPath = null;
  const none = () => dash().no_update;
  const triggered = () => (dash().callback_context.triggered || [])[0] || null;

  /* Where a mark leads: what it carries, or what its whole trace does. */
  function destination(click, figures) {
    const point = click && click.points && click.points[0];
    if (!point) return null;
    const first = (data) => (Array.isArray(data) ? data[0] : data);
    let data = first(point.customdata);
    if (!data) {
      const places = dash().callback_context.inputs_list[0];
      const id = JSON.stringify(JSON.parse(triggered().prop_id.replace(/\.clickData$/, "")));
      const at = places.findIndex((place) => JSON.stringify(place.id) === id);
      const trace = figures[at] && figures[at].data[point.curveNumber];
      data = trace && first(trace.customdata);
    }
    return data && data.to ? data.to : null;
  }

  /* What was kept of a farm's visit: a guess, an empty object where it was skipped, nothing where it is to be asked. */
  function guessOf(kept, asked) {
    const visits = kept && kept.farms && kept.farms[asked.farm];
    return visits && visits[asked.visit];
  }

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    evenfoot: {
      openMark: function (_clicks, figures) {
        const hit = triggered();
        const href = hit && destination(hit.value, figures);
        if (href) open(href);
        return none();
      },
      /* What is asked of the page that stands already, the colours, what was done, and the way out of the tour.
         The panels of another page ask when they come, and those of the page that is left do not ask again. */
      arrive: function (href) {
        const here = new URL(href);
        const same = here.pathname === shownPath;
        shownPath = here.pathname;
        const asked = same ? here.search : none();
        const theme = here.searchParams.get("theme") || "paper";
        root.dataset.theme = theme;
        here.searchParams.delete("tour");
        return [asked, theme === "night" ? "dark" : "light", null, here.pathname + here.search];
      },
      /* Whether the window is a phone's, and that it is known. */
      watchWidth: function () {
        const phone = window.matchMedia("(max-width: 600px)");
        phone.addEventListener("change", () => dash().set_props("narrow", { data: phone.matches }));
        return [phone.matches, true];
      },
      /* On a phone the pages of a group are a row to be pushed: the one that is open comes into sight. */
      showPage: function () {
        requestAnimationFrame(() => {
          const here = document.querySelector(".pages .here");
          if (here) here.closest(".pages").scrollLeft = here.offsetLeft - here.closest(".pages").offsetLeft;
        });
        return none();
      },
      /* Whether the server answers, the session holds, and the records are still those on the page. */
      askState: async function (_ticks, _href, seen) {
        let answer;
        try {
          answer = await window.fetch("/_ledger-state");
        } catch {
          return [said.silent, none()];
        }
        if (answer.status === 401) {
          const here = window.location.pathname + window.location.search;
          window.location.assign("/login?next=" + encodeURIComponent(here));
          return [none(), none()];
        }
        if (answer.status >= 500) return [said.silent, none()];
        if (!answer.ok) return ["", none()];
        const { version } = await answer.json();
        const figures = document.querySelector(".panel-body") !== null;
        return ["", !figures || !version || !seen || version === seen];
      },
      /* Whether the question stands in the place of the figure, and what is said of a guess that was given. */
      showGuess: function (asked, _when, kept) {
        const given = guessOf(kept, asked);
        if (!given && !(kept && kept.off)) return ["guess asks", ""];
        const told = given && given.guess !== undefined;
        return ["guess", told ? asked.said.replace("{guess}", given.guess) : ""];
      },
      keepGuess: function (_tell, _submit, _skip, _stop, value, asked, kept) {
        const hit = triggered();
        if (!hit || !hit.value) return none();
        const next = structuredClone(kept || {});
        const button = hit.prop_id.split(".")[0];
        if (button === "guess-stop") next.off = true;
        else {
          const guess = Math.round(Number(value));
          const blank = value === null || value === undefined || value === "";
          if (button !== "guess-skip" && (blank || !(guess >= 0 && guess <= 100))) {
            document.getElementById("guess").focus();
            return none();
          }
          next.farms = next.farms || {};
          next.farms[asked.farm] = next.farms[asked.farm] || {};
          next.farms[asked.farm][asked.visit] = button === "guess-skip" ? {} : { guess, found: asked.found };
        }
        /* The buttons go; the figure is where one reads on. */
        setTimeout(() => {
          const figure = document.querySelector("#guess-line .found a");
          if (figure) figure.focus();
        });
        return next;
      },
      askAgain: function (clicks, kept) {
        return clicks ? { ...kept, off: false } : none();
      },
      isAsking: function (_id, _when, kept) {
        return !(kept && kept.off);
      },
      guessedOverFarms: function (words, _when, kept) {
        const ratios = [];
        for (const visits of Object.values((kept && kept.farms) || {})) {
          const given = Object.keys(visits).sort().map((visit) => visits[visit]);
          const newest = given.filter((each) => each.guess !== undefined && each.found > 0).pop();
          if (newest) ratios.push(newest.guess / newest.found);
        }
        if (ratios.length < 2) return "";
        const mean = ratios.reduce((sum, each) => sum + each, 0) / ratios.length;
        return words.replace("{n}", ratios.length).replace("{share}", Math.round(100 * mean));
      },
      copyLink: function () {
        const done = (words) => {
          dash().set_props("copy-link", { children: words });
          setTimeout(() => dash().set_props("copy-link", { children: said.copy }), 2500);
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
        const hit = triggered();
        if (!hit || !touched) return none();
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
          ["span", "since", "until"].forEach((name) => query.delete(name));
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
        /* All farms have their own first page, and so has one. */
        let path = window.location.pathname;
        if (id.field === "farms" && ["/", "/today"].includes(path)) path = query.get("farms") ? "/today" : "/";
        const text = query.toString();
        const same = new URLSearchParams(before);
        same.sort();
        query.sort();
        if (same.toString() !== query.toString()) open(path + (text ? "?" + text : ""));
        return none();
      },
    },
  });
})();
