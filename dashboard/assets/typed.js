/* The typed visit. What is typed lives here and in the browser's storage; the grid shows it, and the server says how it
   reads. */
(function () {
  "use strict";
  const CELLS = ["cow", "LF", "RF", "LH", "RH", "score", "note"];
  const HEAD = ["farm", "day", "trimmer", "kind", "scale"];
  const KEY = "evenfoot-typed:";
  /* Blank rows below the last one typed: one to type in, and one to go to. */
  const BLANK = 2;
  const MOST_ROWS = 1000, TALL = 40, ASKED_AT_ONCE = 100, PAUSE_MS = 300;

  const dash = () => window.dash_clientside;
  const none = () => dash().no_update;
  const grid = () => {
    try {
      return window.dash_ag_grid.getApi("typing-grid");
    } catch {
      return null;
    }
  };

  let begun = null; /* what the server says of who types: account, farms, day, words */
  let sheet = null; /* {id, farm, day, trimmer, kind, scale, at, rows: [{id, cow, LF, ..., read}]} */
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
    const row = { id: "r" + ++next, read: "", asks: false };
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
      if (!typed().length) {
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

  /* Blank rows at the end, as many as one needs to go on. */
  function grow() {
    let blank = 0;
    for (let place = sheet.rows.length - 1; place >= 0 && isBlank(sheet.rows[place]); place -= 1) blank += 1;
    const add = [];
    while (blank + add.length < BLANK && sheet.rows.length + add.length < MOST_ROWS) add.push(blankRow());
    if (!add.length) return;
    sheet.rows.push(...add);
    number();
    const api = grid();
    if (!api) return;
    api.applyTransaction({ add: add.map((row) => ({ ...row })) });
    api.setGridOption("domLayout", sheet.rows.length > TALL ? "normal" : "autoHeight");
    const place = document.getElementById("typing-grid");
    if (place) place.classList.toggle("tall", sheet.rows.length > TALL);
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
    dash().set_props("typing-kept", { children: keep() });
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
    const rows = sheet.rows.map((row) => ({ ...row }));
    return [...HEAD.map((name) => sheet[name]), rows, others(), keep(), asked()];
  }

  const fresh = () => ({ farm: sheet ? sheet.farm : begun.farm, day: begun.day, trimmer: begun.trimmer, kind: "", scale: "" });
  const triggered = () => (dash().callback_context.triggered || [])[0] || null;
  const unchanged = (count) => Array(count).fill(none());

  /* Enter goes to the next cow, arrows to the row above or below; Escape leaves a cell, then the grid. */
  function go(api, place, column) {
    if (place < 0 || place >= api.getDisplayedRowCount()) return;
    api.ensureIndexVisible(place);
    api.setFocusedCell(place, column);
    api.startEditingCell({ rowIndex: place, colKey: column });
  }

  function keys(params) {
    const { event, api, node, editing, column } = params;
    if (event.type !== "keydown") return false;
    if (event.key === "Escape") {
      if (editing) {
        const row = sheet.rows.find((one) => one.id === node.data.id);
        put(row, column.getColId(), String(node.data[column.getColId()] || ""));
        setTimeout(changed);
        return false;
      }
      document.getElementById("typing-check").focus();
      return true;
    }
    if (!editing || event.isComposing) return false;
    const step = { Enter: 1, ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (!step) return false;
    event.preventDefault();
    api.stopEditing();
    go(api, node.rowIndex + step, event.key === "Enter" ? "cow" : column.getColId());
    return true;
  }

  let timer = 0;
  document.addEventListener("input", (event) => {
    const cell = event.target.closest && event.target.closest("#typing-grid .ag-cell");
    if (!cell || !sheet) return;
    const row = sheet.rows.find((one) => one.id === cell.closest("[row-id]").getAttribute("row-id"));
    put(row, cell.getAttribute("col-id"), event.target.value);
    clearTimeout(timer);
    timer = setTimeout(changed, PAUSE_MS);
  });

  /* Rows copied from a spreadsheet. */
  document.addEventListener("paste", (event) => {
    const cell = event.target.closest && event.target.closest("#typing-grid .ag-cell");
    const text = event.clipboardData && event.clipboardData.getData("text/plain");
    if (!cell || !sheet || !text || !/[\t\n]/.test(text.trim())) return;
    event.preventDefault();
    const api = grid();
    api.stopEditing(true);
    const lines = text.replace(/\r/g, "").replace(/\n+$/, "").split("\n");
    const first = sheet.rows.findIndex((one) => one.id === cell.closest("[row-id]").getAttribute("row-id"));
    const from = CELLS.indexOf(cell.getAttribute("col-id"));
    if (first + lines.length > MOST_ROWS - BLANK) {
      dash().set_props("typing-refused", { children: words("many", { n: lines.length, most: MOST_ROWS }) });
      return;
    }
    while (sheet.rows.length < first + lines.length) {
      const row = blankRow();
      sheet.rows.push(row);
      api.applyTransaction({ add: [{ ...row }] });
    }
    number();
    lines.forEach((line, place) =>
      line.split("\t").slice(0, CELLS.length - from).forEach((value, at) => {
        const row = sheet.rows[first + place];
        put(row, CELLS[from + at], value.trim());
        api.getRowNode(row.id).setDataValue(CELLS[from + at], value.trim());
      })
    );
    api.forEachNode((node) => node.setDataValue("row", sheet.rows[node.rowIndex].row));
    changed();
  }, true);

  window.dashAgGridFunctions = Object.assign(window.dashAgGridFunctions || {}, { typingKeys: keys });

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
        if (!hit || !hit.value) return unchanged(11);
        const name = hit.prop_id.slice(0, hit.prop_id.lastIndexOf("."));
        if (name.startsWith("{")) {
          const id = JSON.parse(name);
          if (id.type === "done") {
            /* Added: it needs no keeping. What was changed since it was checked stays. */
            if (handed !== plain(sheet)) return unchanged(11);
            window.localStorage.removeItem(KEY + begun.account + ":" + sheet.id);
            start(fresh());
          } else {
            const kept = keptSheets().find((one) => one.id === id.sheet);
            if (kept) start(kept);
          }
        } else if (name === "typing-away") {
          window.localStorage.removeItem(KEY + begun.account + ":" + sheet.id);
          start(fresh());
        } else start(fresh());
        return [none(), ...shown(), ""];
      },
      change: function (events, ...head) {
        if (!sheet) return none();
        HEAD.forEach((name, place) => {
          const value = head[place] || "";
          if (name === "farm" && value !== sheet.farm) typed().forEach((row) => pending.add(row.id));
          sheet[name] = value;
        });
        (Array.isArray(events) ? events : []).forEach(({ colId, data }) => {
          const row = CELLS.includes(colId) && sheet.rows.find((one) => one.id === data.id);
          if (row) put(row, colId, String(data[colId] || ""));
        });
        changed();
        return none();
      },
      show: function (answer) {
        if (!answer || !sheet) return none();
        const api = grid();
        let last = "";
        answer.rows.forEach(({ id, cells, said, asks }) => {
          const row = sheet.rows.find((one) => one.id === id);
          if (!row || CELLS.some((name, place) => row[name] !== cells[place])) return;
          pending.delete(id);
          Object.assign(row, { read: said, asks });
          const node = api && api.getRowNode(id);
          if (node) {
            node.data.asks = asks;
            node.setDataValue("read", said);
          }
          last = said && words("row", { row: row.row, said });
        });
        const more = asked();
        if (more !== none() && answer.n === asking) dash().set_props("typing-ask", { data: more });
        return last;
      },
      check: function (clicks) {
        if (!clicks || !sheet) return none();
        const api = grid();
        if (api) api.stopEditing();
        handed = plain(sheet);
        return { ...sheet, rows: sheet.rows.map((row) => CELLS.map((name) => row[name])), click: clicks };
      },
    },
  });
})();
