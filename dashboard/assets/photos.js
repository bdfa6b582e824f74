/* Photos of filled sheets. Any place .photo-viewer shows one, larger, smaller or turned. On the page of the typed visit
   they are chosen, made smaller, kept in the browser by Dexie, and sent once their visit is an import. */
(function () {
  "use strict";
  /* The sizes that the server takes, see analytics/ledger/photos.py. */
  const LARGEST = 5 * 1024 * 1024, MOST = 6;
  const LONGEST_SIDE = 2000, QUALITY = 0.8;
  const WIDE = "(min-width: 1100px)"; /* as evenfoot.css has it */
  const STEP = 1.5, MOST_LARGE = 6;
  const PICTURES = ["image/jpeg", "image/png", "image/webp"], PDF = "application/pdf";
  const byId = (id) => document.getElementById(id);

  /* The viewer: the picture as wide as the pane at first, whichever way it is turned. */
  function fit(viewer) {
    const pane = viewer.querySelector(".photo-pane"), picture = pane.querySelector("img");
    if (!picture.naturalWidth || !pane.clientWidth) return;
    const zoom = Number(viewer.dataset.zoom || 1), turn = Number(viewer.dataset.turn || 0);
    const across = pane.clientWidth * zoom, lies = turn % 180 !== 0;
    const ratio = picture.naturalHeight / picture.naturalWidth;
    const width = lies ? across / ratio : across, height = width * ratio;
    const moved = { 0: [0, 0], 90: [height, 0], 180: [width, height], 270: [0, width] }[turn];
    Object.assign(picture.style, { width: `${width}px`, height: `${height}px`, maxWidth: "none",
      transform: `translate(${moved[0]}px, ${moved[1]}px) rotate(${turn}deg)` });
    Object.assign(picture.parentNode.style, { width: `${across}px`, height: `${lies ? width : height}px` });
  }

  function act(viewer, button) {
    const pane = viewer.querySelector(".photo-pane");
    const zoom = Number(viewer.dataset.zoom || 1);
    if (button.dataset.photo === "larger") viewer.dataset.zoom = Math.min(zoom * STEP, MOST_LARGE);
    if (button.dataset.photo === "smaller") viewer.dataset.zoom = Math.max(zoom / STEP, 1 / STEP);
    if (button.dataset.photo === "turn") viewer.dataset.turn = (Number(viewer.dataset.turn || 0) + 90) % 360;
    if (button.dataset.photo === "pick") {
      viewer.querySelector("img").src = button.dataset.address;
      viewer.querySelectorAll('[data-photo="pick"]').forEach((one) => one.setAttribute("aria-pressed", String(one === button)));
      return;
    }
    /* What stood in the middle stays there. */
    const middle = [(pane.scrollLeft + pane.clientWidth / 2) / pane.scrollWidth, (pane.scrollTop + pane.clientHeight / 2) / pane.scrollHeight];
    fit(viewer);
    pane.scrollLeft = middle[0] * pane.scrollWidth - pane.clientWidth / 2;
    pane.scrollTop = middle[1] * pane.scrollHeight - pane.clientHeight / 2;
  }

  const fitAll = () => document.querySelectorAll(".photo-viewer").forEach(fit);
  document.addEventListener("click", (event) => {
    const button = event.target.closest && event.target.closest("[data-photo]");
    if (button) act(button.closest(".photo-viewer"), button);
  });
  document.addEventListener("load", (event) => event.target.closest && event.target.closest(".photo-pane") && fitAll(), true);
  document.addEventListener("toggle", fitAll, true);
  window.addEventListener("resize", fitAll);

  /* A mouse moves the picture by dragging it; a finger scrolls it anyway. */
  let held = null;
  document.addEventListener("pointerdown", (event) => {
    held = event.pointerType === "mouse" && event.target.closest ? event.target.closest(".photo-pane") : null;
    if (held && event.target.tagName === "IMG") event.preventDefault();
  });
  document.addEventListener("pointermove", (event) => held && event.buttons && held.scrollBy(-event.movementX, -event.movementY));
  document.addEventListener("dragstart", (event) => event.target.closest && event.target.closest(".photo-pane") && event.preventDefault());

  /* What is kept: a row a photo {id, sheet, name, type, bytes, number}, the number being that of the import
     that it is on its way to. */
  let store = null;
  function kept() {
    store = store || new Promise((done, failed) => {
      const open = () => {
        const db = new window.Dexie(`evenfoot-typed-photos-${page.account}`);
        db.version(1).stores({ photos: "id, sheet" });
        done(db);
      };
      if (window.Dexie) return open();
      const script = Object.assign(document.createElement("script"), { src: "/chute/dexie.min.js", onload: open, onerror: failed });
      document.head.append(script);
    });
    return store.then((db) => db.photos);
  }

  let page = null; /* {account, word, words, changed} of who types */
  let sheet = ""; /* whose photos are shown */
  let photos = [];
  let shown = []; /* {address, id}: a photo, or a page of a scan */
  const words = (name, values) =>
    Object.entries(values || {}).reduce((text, [key, value]) => text.replace("{" + key + "}", value), page.words[name]);
  const say = (...parts) => byId("typing-photo-said") && byId("typing-photo-said").replaceChildren(...parts);

  /* A picture with its longest side as it is sent. Drawn anew, it has lost what else its file told, such as the place. */
  async function smaller(file) {
    const picture = new Image();
    picture.src = URL.createObjectURL(file);
    try {
      await picture.decode();
      const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.naturalWidth, picture.naturalHeight));
      const canvas = document.createElement("canvas");
      canvas.width = Math.max(1, Math.round(picture.naturalWidth * scale));
      canvas.height = Math.max(1, Math.round(picture.naturalHeight * scale));
      const on = canvas.getContext("2d");
      on.fillStyle = "#fff";
      on.fillRect(0, 0, canvas.width, canvas.height);
      on.drawImage(picture, 0, 0, canvas.width, canvas.height);
      const made = await new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
      return made ? await made.arrayBuffer() : null;
    } catch {
      return null;
    } finally {
      URL.revokeObjectURL(picture.src);
    }
  }

  /* The pages of a scan: the JPEG pictures in a PDF, which is how nearly every scanner makes one. */
  function pages(bytes) {
    const text = new TextDecoder("latin1").decode(bytes), found = [];
    const stream = /\/DCTDecode[^]*?stream\r?\n/g;
    while (stream.exec(text)) {
      const from = stream.lastIndex, to = text.indexOf("endstream", from);
      if (to > from && text.startsWith("\u00ff\u00d8", from)) found.push(new Blob([bytes.slice(from, to)], { type: "image/jpeg" }));
    }
    return found;
  }

  /* What is shown of the photos, the newest one first to be seen. */
  function draw(last) {
    const viewer = byId("typing-photo-viewer");
    if (!viewer) {
      if (window.location.pathname === "/typing") window.requestAnimationFrame(() => draw(last));
      return;
    }
    shown.forEach((one) => URL.revokeObjectURL(one.address));
    shown = photos.flatMap((photo) => {
      const pictures = photo.type === PDF ? pages(photo.bytes) : [new Blob([photo.bytes], { type: photo.type })];
      return pictures.map((one) => ({ id: photo.id, address: URL.createObjectURL(one) }));
    });
    const at = last ? Math.max(0, shown.findIndex((one) => one.id === last)) : 0;
    const picks = shown.map((one, place) => {
      const button = Object.assign(document.createElement("button"), { type: "button", className: "take", textContent: place + 1 });
      Object.assign(button.dataset, { photo: "pick", address: one.address, id: one.id });
      button.setAttribute("aria-label", words("photo pick", { n: place + 1 }));
      button.setAttribute("aria-pressed", String(place === at));
      return button;
    });
    viewer.querySelector(".photo-picks").replaceChildren(...(picks.length > 1 ? picks : []));
    viewer.hidden = !shown.length;
    viewer.dataset.turn = 0;
    viewer.dataset.zoom = 1;
    if (shown.length) viewer.querySelector("img").src = shown[at].address;
    else viewer.querySelector("img").removeAttribute("src");
    byId("typing-photo-out").hidden = !photos.length;
    byId("typing-work").classList.toggle("has-photo", Boolean(shown.length));
    if (shown.length && window.matchMedia(WIDE).matches) byId("typing-photos").open = true;
    fitAll();
  }

  async function choose(files) {
    const said = [], of = sheet;
    let unkept = false, last = "";
    for (const file of files) {
      const name = file.name;
      if (photos.length >= MOST) {
        said.push(words("photo many"));
        break;
      }
      if (![...PICTURES, PDF].includes(file.type)) {
        said.push(words("photo kind", { name }));
        continue;
      }
      const bytes = file.type !== PDF ? await smaller(file) : file.size <= LARGEST ? await file.arrayBuffer() : null;
      if (!bytes || bytes.byteLength > LARGEST) {
        said.push(words(file.type === PDF ? "photo large" : "photo broken", { name }));
        continue;
      }
      if (sheet !== of) return; /* Another sheet was opened meanwhile. */
      const photo = { id: Date.now().toString(36) + photos.length, sheet, name, bytes, number: null,
        type: file.type === PDF ? PDF : "image/jpeg" };
      photos.push(photo);
      last = photo.id;
      if (photo.type === PDF && !pages(bytes).length) said.push(words("photo pdf", { name }));
      try {
        await (await kept()).put(photo);
      } catch {
        unkept = true;
      }
    }
    draw(last);
    if (unkept) said.push(words("photo unkept"));
    if (photos.length && !unkept) said.push(words("photo kept", { n: photos.length }));
    say(said.join(" "));
    page.changed();
  }

  async function forget(ids) {
    try {
      await (await kept()).bulkDelete(ids);
    } catch {
      /* It was not kept. */
    }
  }

  /* Sends photos to their import, each by itself. What the server refuses is told, and not sent again. */
  async function send(waiting) {
    const cookie = document.cookie.split("; ").find((one) => one.startsWith(page.word + "="));
    const word = cookie ? decodeURIComponent(cookie.slice(page.word.length + 1)) : "";
    let waits = false, refused = "";
    for (const photo of waiting) {
      say(words("photo sending", { number: photo.number }));
      try {
        const headers = { "Content-Type": photo.type, ...(word ? { "X-CSRFToken": word } : {}) };
        const answer = await fetch(`/imports/${photo.number}/photos`, { method: "POST", headers, body: photo.bytes, redirect: "manual" });
        if (answer.ok || answer.status === 409) await forget([photo.id]);
        else waits = true;
        if (answer.status === 409) refused = await answer.text();
      } catch {
        waits = true;
      }
      if (waits) break;
    }
    const { number } = waiting[0];
    if (!waits) return say(refused || words("photo sent", { number }));
    const again = Object.assign(document.createElement("button"), { type: "button", className: "take thumb", textContent: words("photo again") });
    again.onclick = () => send(waiting);
    say(words("photo waits", { number }), " ", again);
  }

  document.addEventListener("click", (event) => {
    if (!page || !event.target.closest) return;
    if (event.target.closest("#typing-photo-choose")) {
      const input = Object.assign(document.createElement("input"), { type: "file", multiple: true, accept: [...PICTURES, PDF].join(",") });
      input.onchange = () => choose([...input.files]);
      input.click();
    }
    if (event.target.closest("#typing-photo-out")) {
      const at = byId("typing-photo-viewer").querySelector('[aria-pressed="true"]');
      const id = at ? at.dataset.id : photos[photos.length - 1].id;
      photos = photos.filter((one) => one.id !== id);
      forget([id]);
      draw();
      say(words("photo kept", { n: photos.length }));
      byId("typing-photo-choose").focus();
      page.changed();
    }
  });

  /* Who begins to type beside a photo sees all of it: the rows go up to the edge of the window. */
  document.addEventListener("focusin", (event) => {
    const work = event.target.closest && event.target.closest("#typing-rows") && byId("typing-work");
    if (!work || !work.classList.contains("has-photo") || !window.matchMedia(WIDE).matches) return;
    const pane = work.querySelector(".photo-pane");
    if (pane.getBoundingClientRect().bottom > window.innerHeight) work.scrollIntoView();
  });

  window.evenfootPhotos = {
    any: () => photos.length > 0,
    /* Shows the photos kept with a sheet. The first time it also sends what has not reached its import. */
    open: async function (facts, id) {
      const first = !page;
      page = facts;
      sheet = id;
      photos = [];
      draw();
      let all = [];
      try {
        all = await (await kept()).toArray();
      } catch {
        return;
      }
      if (sheet !== id) return;
      photos = all.filter((one) => one.sheet === id && !one.number);
      draw();
      if (photos.length) page.changed();
      const waiting = all.filter((one) => one.number);
      if (first && waiting.length) send(waiting);
    },
    /* The sheet is thrown away. */
    away: function () {
      forget(photos.map((one) => one.id));
      photos = [];
      say();
    },
    /* The sheet is an import: its photos are on their way there from now on. */
    done: async function (number) {
      const waiting = photos.map((one) => ({ ...one, number }));
      photos = [];
      if (!waiting.length) return;
      try {
        await (await kept()).bulkPut(waiting);
      } catch {
        /* They are sent all the same. */
      }
      send(waiting);
    },
  };
})();
