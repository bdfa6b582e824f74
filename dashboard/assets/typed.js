/* The typed visit. What is typed lives in the fields of the table and in the browser's storage; the server says how it
   reads. */
(function () {
  "use strict";
  const CELLS = ["cow", "LF", "RF", "LH", "RH", "score", "note"];
  const HEAD = ["farm", "day", "trimmer", "kind", "scale"];
  const KEY = "evenfoot-typed:";
  /* Blank rows below the last one typed: one to type in, and one to go to. */
  const BLANK = 2;
  const MOST_ROWS = 1000, ASKED_AT_ONCE = 100, PAUSE_MS = 300;

  const dash = () => window.dash_clientside;
  const none = () => dash().no_update;
  const table = () => document.getElementById("typing-rows");
  const photos = () => window.evenfootPhotos; /* see photos.js */

  let begun = null; /* what the server says of who types: account, farms, day, words */
  let sheet = null; /* {id, farm, day, trimmer, kind, scale, at, rows: [{id, row, cow, LF, ...}]} */
  let handed = null; /* the sheet as it was handed over to be checked */
  let pending = new Set();
  let asking = 0;
  let next = 0;

  const words = (name, values) =>
    Object.entries(values || {}).reduce((text, [key, value]) => text.replace("{" + key + "}", value), begun.words[name]);
  const isBlank = (row) => CELLS.every((name) => !(row[name] || "").trim());
  const typed = () => sheet.rows.filter((row) => !isBlank(row));
  const plain = (of) => JSON.stringify([HEAD.map((name) => of[name]), of.rows.map((row) => CELLS.map((name) => row[name]))]);
  const blankRow = () => {
    const row = { id: "r" + ++next };
    CELLS.forEach((name) => (row[name] = ""));
    return row;
  };
  const number = () => sheet.rows.forEach((row, place) => (row.row = place + 2));

  /* What is kept: one entry a sheet, so that two windows do not overwrite each other's. */
  function keptSheets() {
    const found = [];
    try {
      for (let place = 0; place < window.localStorage.length; place += 1) {
        const key = window.localStorage.key(place);
        if (key.startsWith(KEY + begun.account + ":")) found.push(JSON.parse(window.localStorage.getItem(key)));
      }
    } catch {
      return found;
    }
    return found.sort((one, other) => (one.at < other.at ? 1 : -1));
  }

  function keep() {
    const key = KEY + begun.account + ":" + sheet.id;
    try {
      if (!typed().length && !photos().any()) {
        window.localStorage.removeItem(key);
        return "";
      }
      sheet.at = new Date().toISOString();
      const rows = sheet.rows.map((row) => CELLS.map((name) => row[name]));
      window.localStorage.setItem(key, JSON.stringify({ ...sheet, rows }));
    } catch {
      return words("unkept");
    }
    return words("kept", { n: typed().length, time: new Date().toLocaleTimeString(document.documentElement.lang) });
  }

  function start(from) {
    sheet = { id: from.id || Date.now().toString(36), rows: [] };
    HEAD.forEach((name) => (sheet[name] = from[name] || ""));
    (from.rows || []).forEach((cells) => {
      const row = blankRow();
      CELLS.forEach((name, place) => (row[name] = String(cells[place] || "")));
      sheet.rows.push(row);
    });
    while (sheet.rows.length && isBlank(sheet.rows[sheet.rows.length - 1])) sheet.rows.pop();
    for (let blank = 0; blank < BLANK; blank += 1) sheet.rows.push(blankRow());
    number();
    pending = new Set(typed().map((row) => row.id));
    handed = null;
  }

  /* The line of a row: its number, a field a cell, and how it reads. */
  function line(row) {
    const names = [...document.querySelectorAll("#typing-grid thead th")].map((head) => head.textContent);
    const tr = document.createElement("tr");
    tr.dataset.id = row.id;
    const first = document.createElement("th");
    first.scope = "row";
    first.textContent = row.row;
    tr.append(first);
    CELLS.forEach((name, place) => {
      const cell = document.createElement("td"), field = document.createElement("input");
      cell.dataset.label = names[place + 1];
      cell.className = "cell-" + name;
      Object.assign(field, { type: "text", name, value: row[name], autocomplete: "off", spellcheck: false });
      field.setAttribute("aria-label", words("field", { name: names[place + 1], row: row.row }));
      field.setAttribute("autocapitalize", "off");
      cell.append(field);
      tr.append(cell);
    });
    const reads = document.createElement("td");
    reads.className = "reads";
    tr.append(reads);
    return tr;
  }

  /* All lines anew, as soon as the table is there. */
  function draw() {
    const body = table();
    if (!body) {
      window.requestAnimationFrame(draw);
      return;
    }
    body.replaceChildren(...sheet.rows.map(line));
  }

  const rowOf = (field) => sheet.rows.find((one) => one.id === field.closest("tr").dataset.id);
  const lineOf = (row) => table() && table().querySelector(`[data-id="${row.id}"]`);

  /* Blank rows at the end, as many as one needs to go on. */
  function grow() {
    let blank = 0;
    for (let place = sheet.rows.length - 1; place >= 0 && isBlank(sheet.rows[place]); place -= 1) blank += 1;
    const first = sheet.rows.length;
    for (; blank < BLANK && sheet.rows.length < MOST_ROWS; blank += 1) sheet.rows.push(blankRow());
    number();
    if (table()) table().append(...sheet.rows.slice(first).map(line));
  }

  function put(row, name, text) {
    if (row[name] === text) return;
    const same = (cow) => cow && sheet.rows.forEach((one) => one.cow.trim() === cow && pending.add(one.id));
    if (name === "cow") same(row.cow.trim());
    row[name] = text;
    if (name === "cow") same(text.trim());
    pending.add(row.id);
  }

  /* How the rows read that have changed. What is not answered yet is asked again, as a later answer takes its place. */
  function asked() {
    if (!pending.size) return none();
    const rows = sheet.rows.filter((row) => pending.has(row.id)).slice(0, ASKED_AT_ONCE);
    const twin = (row) => sheet.rows.find((one) => one !== row && row.cow.trim() && one.cow.trim() === row.cow.trim());
    return {
      farm: sheet.farm,
      n: ++asking,
      rows: rows.map((row) => ({ id: row.id, cells: CELLS.map((name) => row[name]), twin: (twin(row) || {}).row || null })),
    };
  }

  function changed() {
    grow();
    const kept = keep();
    if (!table()) return; /* The page was left meanwhile. */
    dash().set_props("typing-kept", { children: kept });
    const ask = asked();
    if (ask !== none()) dash().set_props("typing-ask", { data: ask });
    if (handed !== null && handed !== plain(sheet)) {
      handed = null;
      dash().set_props("typing-refused", { children: words("stale") });
      dash().set_props("sheets", { children: [] });
    }
  }

  function others() {
    return keptSheets()
      .filter((one) => one.id !== sheet.id)
      .map((one) => ({
        namespace: "dash_html_components",
        type: "Button",
        props: {
          id: { type: "typing-open", sheet: one.id },
          className: "take thumb",
          children: words("other", { farm: one.farm || "–", day: one.day || "–", n: one.rows.filter((row) => row.some(Boolean)).length }),
        },
      }));
  }

  function shown() {
    draw();
    photos().open({ ...begun, changed }, sheet.id);
    return [...HEAD.map((name) => sheet[name]), others(), keep(), asked()];
  }

  const fresh = () => ({ farm: sheet ? sheet.farm : begun.farm, day: begun.day, trimmer: begun.trimmer, kind: "", scale: "" });
  const triggered = () => (dash().callback_context.triggered || [])[0] || null;
  const unchanged = (count) => Array(count).fill(none());

  const field = (event) => event.target.closest && sheet && event.target.closest("#typing-rows input");

  /* Enter goes to the next cow, arrows to the row above or below; Escape leaves the table. */
  document.addEventListener("keydown", (event) => {
    const at = field(event);
    if (!at || event.isComposing || event.ctrlKey || event.metaKey || event.altKey) return;
    const step = { Enter: 1, ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (event.key === "Escape") document.getElementById("typing-check").focus();
    if (!step) return;
    event.preventDefault();
    const to = at.closest("tr")[step > 0 ? "nextSibling" : "previousSibling"];
    const goal = to && to.querySelector(`input[name="${event.key === "Enter" ? "cow" : at.name}"]`);
    if (goal) {
      goal.focus();
      goal.select();
    }
  });

  let timer = 0;
  document.addEventListener("input", (event) => {
    const at = field(event);
    if (!at) return;
    put(rowOf(at), at.name, at.value);
    grow();
    clearTimeout(timer);
    timer = setTimeout(changed, PAUSE_MS);
  });

  /* Rows copied from a spreadsheet fill the fields from this one on. */
  document.addEventListener("paste", (event) => {
    const at = field(event);
    const text = event.clipboardData && event.clipboardData.getData("text/plain");
    if (!at || !text || !/[\t\n]/.test(text.trim())) return;
    event.preventDefault();
    const lines = text.replace(/\r/g, "").replace(/\n+$/, "").split("\n").map((one) => one.split("\t"));
    const first = sheet.rows.indexOf(rowOf(at)), from = CELLS.indexOf(at.name);
    if (first + lines.length > MOST_ROWS || lines.some((one) => one.length > CELLS.length - from)) {
      dash().set_props("typing-refused", { children: words("paste", { most: MOST_ROWS }) });
      return;
    }
    lines.forEach((cells, place) => {
      const row = sheet.rows[first + place];
      cells.forEach((value, along) => {
        const name = CELLS[from + along];
        put(row, name, value.trim());
        lineOf(row).querySelector(`input[name="${name}"]`).value = value.trim();
      });
      grow();
    });
    changed();
  });

  /* Closed in the middle of a word, it is kept too. */
  window.addEventListener("pagehide", () => sheet && begun && keep());

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    typing: {
      /* Opens the sheet kept last, another one, or a new one. */
      open: function (facts, _opens, _new, _away, _done) {
        const hit = triggered();
        if (facts && facts !== begun) {
          begun = facts;
          const kept = keptSheets().filter((one) => !begun.farm || one.farm === begun.farm);
          sheet = null;
          start(kept[0] || fresh());
          return [begun.farms, ...shown(), ""];
        }
        if (!hit || !hit.value) return unchanged(10);
        const name = hit.prop_id.slice(0, hit.prop_id.lastIndexOf("."));
        if (name.startsWith("{")) {
          const id = JSON.parse(name);
          if (id.type === "done") {
            /* Added: it needs no keeping. What was changed since it was checked stays. */
            if (handed !== plain(sheet)) return unchanged(10);
            window.localStorage.removeItem(KEY + begun.account + ":" + sheet.id);
            photos().done(hit.value.number);
            start(fresh());
          } else {
            const kept = keptSheets().find((one) => one.id === id.sheet);
            if (kept) start(kept);
          }
        } else if (name === "typing-away") {
          photos().away();
          window.localStorage.removeItem(KEY + begun.account + ":" + sheet.id);
          start(fresh());
        } else start(fresh());
        return [none(), ...shown(), ""];
      },
      change: function (...head) {
        if (!sheet) return none();
        HEAD.forEach((name, place) => {
          const value = head[place] || "";
          if (name === "farm" && value !== sheet.farm) typed().forEach((row) => pending.add(row.id));
          sheet[name] = value;
        });
        changed();
        return none();
      },
      show: function (answer) {
        if (!answer || !sheet) return none();
        let last = none();
        answer.rows.forEach(({ id, cells, said, asks }) => {
          const row = sheet.rows.find((one) => one.id === id);
          if (!row || CELLS.some((name, place) => row[name] !== cells[place])) return;
          pending.delete(id);
          const shownIn = lineOf(row);
          if (shownIn) {
            const open = document.createElement("strong");
            open.textContent = asks;
            shownIn.lastChild.replaceChildren(...(asks ? [open, " "] : []), said);
            shownIn.classList.toggle("asks", Boolean(asks));
            if (shownIn.contains(document.activeElement)) last = words("row", { row: row.row, said: `${asks} ${said}` });
          }
        });
        /* Where rows have been asked about since, their answer goes on from here. */
        if (answer.n === asking && pending.size) dash().set_props("typing-ask", { data: asked() });
        return last;
      },
      check: function (clicks) {
        if (!clicks || !sheet) return none();
        handed = plain(sheet);
        return { ...sheet, rows: sheet.rows.map((row) => CELLS.map((name) => row[name])), click: clicks };
      },
    },
  });
})();
