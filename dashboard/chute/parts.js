// What every screen is made of: the state of the page, its words, its fields and buttons. `app.draw` draws the screen
// anew and `app.showTrouble` tells what could not be kept; both are of chute.js.
export const app = { records: [], undone: [], unsent: 0, herd: null, herds: [], ticked: [], loading: "", farmsOpen: false, visits: [], farms: [], sending: false, answer: null, work: Promise.resolve(), forgets: false, draw: null, showTrouble: null };
export const id = (name) => document.getElementById(name);
export function say(name, values = {}) {
    return app.facts.words[name].replace(/\{(\w+)\}/g, (whole, key) => (key in values ? values[key] : whole));
}

export function h(tag, given, ...parts) {
    const { on, ...attributes } = given || {};
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) {
        if (value === true) made.setAttribute(name, "");
        else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value);
    }
    if (on) made.addEventListener("click", on);
    made.append(...parts.flat().filter((part) => part !== null && part !== undefined && part !== false));
    return made;
}

export function button(words, on, more = {}) {
    return h("button", { type: "button", "data-key": words, ...more, on }, words);
}

// One of several: its state is told by a mark and by aria-pressed, never by colour alone.
export function chip(words, chosen, on, key) {
    return h("button", { type: "button", class: "chip", "data-key": key || words, "aria-pressed": String(chosen), on }, words);
}

export function chips(title, choices) {
    return h("div", { class: "chips", role: "group", "aria-label": title }, h("p", { class: "head" }, title), h("div", {}, choices));
}

// As crypto.randomUUID makes them, which browsers have over TLS alone.
export function newId() {
    const hex = [...crypto.getRandomValues(new Uint8Array(16))].map((each) => each.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

export function tell(words) {
    if (app.store.wiped) return;
    id("said").textContent = words;
}

export function later(work) {
    app.work = app.work.then(work).then(() => { app.forgets = false; }).catch((error) => { app.forgets = error.name || true; }).then(app.showTrouble);
    return app.work;
}

export function head(words) {
    return h("h1", { tabindex: "-1" }, words);
}

export function field(name, title, value, more = {}) {
    const { choices, ...rest } = more;
    const at = `field-${name}`;
    const made = choices
        ? h("select", { id: at, name, ...rest }, choices.map(([code, words]) => h("option", { value: code, selected: code === value }, words)))
        : h("input", { id: at, name, value, autocomplete: "off", type: "text", ...rest });
    return h("div", { class: "field" }, h("label", { for: at }, title), made);
}

export function today() {
    const now = new Date();
    return `${now.getFullYear()}-${String(now.getMonth() + 1).padStart(2, "0")}-${String(now.getDate()).padStart(2, "0")}`;
}
