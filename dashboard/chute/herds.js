// The farms on this phone: their herds are loaded, kept, locked with a word, and taken off.
import { canLock, SHORTEST_WORD } from "./lock.js";
import { app, button, chip, field, h, id, later, say, tell, today } from "./parts.js";
import { ask } from "./sending.js";

const DAY_MS = 86400000;
// A herd that was loaded more days ago is told to be old. [common practice, no source]
const OLD_DAYS = 7;

// The farms whose herds this phone keeps: chosen in the office, loaded together, each with the day it was loaded.
export function farmsList() {
    if (!app.farms.length) return null;
    const kept = new Map(app.herds.map((each) => [each.farm, each]));
    const ticked = new Set(app.ticked);
    const flip = (farm) => { app.ticked = ticked.has(farm) ? app.ticked.filter((each) => each !== farm) : [...app.ticked, farm]; app.draw(); };
    const first = [...app.farms].sort((one, other) => kept.has(other) - kept.has(one));
    const old = app.herds.filter(isOld).map((each) => each.farm);
    const state = (herd) => {
        if (!herd) return say("farm_not_here");
        if (herd.shut) return say("farm_shut", { when: loadedWords(herd) });
        return say("farm_loaded", { when: loadedWords(herd), n: herd.cows.length, due: herd.list?.length ?? "–" });
    };
    const made = h("details", { open: app.farmsOpen }, h("summary", { "data-key": "farms" }, say("farms_here", { n: kept.size })),
        h("p", { class: "basis" }, say("farms_how")),
        button(app.loading || say("load_farms", { n: ticked.size }), loadFarms, { class: "main", "data-key": "load-farms", disabled: Boolean(app.loading) }),
        h("ul", { class: "list" }, first.map((farm) => h("li", {},
            chip(farm, ticked.has(farm), () => flip(farm), `farm-${farm}`),
            h("p", { class: "basis" }, state(kept.get(farm)))))),
        lockPart());
    made.addEventListener("toggle", () => { app.farmsOpen = made.open; });
    return h("section", {}, old.length ? h("p", { class: "caution" }, say("farms_old", { farms: old.join(", ") })) : null, made);
}

// Where herds are locked with a word, or the lock is taken off. Browsers encrypt for pages over TLS alone.
function lockPart() {
    if (!canLock()) return null;
    if (app.kept.key) return h("div", {}, h("p", { class: "basis" }, say("locked_now")), button(say("lock_off"), () => later(() => app.kept.takeOff()).then(app.draw), { "data-key": "lock-off" }));
    if (app.kept.locked) return null;
    const form = h("form", { class: "form", novalidate: true },
        h("p", { class: "basis" }, say("lock_how")),
        field("lock", say("lock_word"), id("field-lock")?.value || "", { type: "password" }),
        h("button", { type: "submit", "data-key": "lock" }, say("lock")));
    form.addEventListener("submit", async (event) => {
        event.preventDefault();
        const word = new FormData(form).get("lock");
        if ([...word].length < SHORTEST_WORD) return tell(say("word_short", { n: SHORTEST_WORD }));
        await later(() => app.kept.lock(word));
        tell(app.kept.key ? say("locked_now") : say("no_storage"));
        app.draw();
    });
    return form;
}

// Stands above every screen while the herds on this phone wait for their word.
export function unlockPart() {
    if (!app.kept.locked) return null;
    const form = h("form", { class: "form caution", novalidate: true },
        h("p", {}, say("herds_shut")),
        field("unlock", say("lock_word"), id("field-unlock")?.value || "", { type: "password", "data-key": "unlock-word" }),
        h("div", { class: "row" },
            h("button", { type: "submit", "data-key": "unlock" }, say("unlock")),
            button(say("forgotten"), forgetHerds, { "data-key": "forget-herds" })));
    form.addEventListener("submit", async (event) => {
        event.preventDefault();
        if (!(await app.kept.unlock(new FormData(form).get("unlock")))) return tell(say("wrong_word"));
        tell("");
        await showHerds();
    });
    return form;
}

async function showHerds() {
    app.herds = await app.kept.all();
    app.ticked = app.herds.map((each) => each.farm);
    if (app.now.visit) await keptHerd(app.now.visit.farm);
    app.draw();
}

async function forgetHerds() {
    await later(() => app.kept.forget());
    app.herd = null;
    await showHerds();
}

export function loadedWords(herd) {
    if (!herd.loaded) return "–";
    const [day, time] = herd.loaded.split(" ");
    return day === today() ? say("today_at", { time }) : `${day} ${time}`;
}

// Days are compared as days: an hour more or less is no matter.
export function isOld(herd) {
    return !herd.loaded || (Date.parse(today()) - Date.parse(herd.loaded.split(" ")[0])) / DAY_MS > OLD_DAYS;
}

export async function keptHerd(farm) {
    app.herd = null;
    try {
        app.herd = await app.kept.get(farm);
    } catch (error) {
        app.forgets = error.name || true;
    }
}

// The herd of a farm as the office has it now, kept; true, or why not.
async function fetchHerd(farm) {
    const language = encodeURIComponent(app.facts.language);
    const herd = await ask(`/chute/herd?farm=${encodeURIComponent(farm)}&language=${language}`);
    if (!herd.cows) return herd.state === "signed out" ? "signed out" : "silent";
    const now = new Date();
    herd.loaded = `${today()} ${String(now.getHours()).padStart(2, "0")}:${String(now.getMinutes()).padStart(2, "0")}`;
    if (!app.now.visit || app.now.visit.farm === farm) app.herd = herd;
    try {
        await app.kept.put(herd);
    } catch (error) {
        return "full";
    }
    app.herds = [...app.herds.filter((each) => each.farm !== farm), herd];
    if (!app.ticked.includes(farm)) app.ticked = [...app.ticked, farm];
    return true;
}

export async function loadHerd(farm, aloud) {
    if (!app.farms.includes(farm) || app.kept.locked) return;
    const done = await fetchHerd(farm);
    if (done !== true && done !== "full") await keptHerd(farm);
    if (done === "full") tell(say("farms_full", { farms: farm }));
    else if (aloud) tell(app.herd ? say("loaded", { farm, n: app.herd.cows.length }) : say("not_loaded"));
    app.draw();
}

// Loads what is ticked; what is no longer ticked leaves the phone once all of it has come.
async function loadFarms() {
    if (app.loading) return;
    if (app.kept.locked) return tell(say("locked_first"));
    const wanted = app.farms.filter((farm) => app.ticked.includes(farm));
    const missed = { silent: [], full: [], "signed out": [] };
    for (const [place, farm] of wanted.entries()) {
        app.loading = say("loading_farms", { place: place + 1, n: wanted.length });
        app.draw();
        const done = await fetchHerd(farm);
        if (done !== true) missed[done].push(farm);
    }
    app.loading = "";
    if (!Object.values(missed).flat().length) await dropHerds((farm) => !wanted.includes(farm));
    const said = [
        missed["signed out"].length ? say("sign_in") : "",
        missed.silent.length ? say("farms_missed", { farms: missed.silent.join(", ") }) : "",
        missed.full.length ? say("farms_full", { farms: missed.full.join(", ") }) : "",
    ].filter(Boolean);
    tell(said.join(" ") || say("farms_came", { n: wanted.length }));
    app.draw();
}

export async function dropHerds(leaves) {
    const gone = app.herds.map((each) => each.farm).filter(leaves);
    await later(() => app.kept.drop(gone));
    app.herds = app.herds.filter((each) => !gone.includes(each.farm));
    app.ticked = app.ticked.filter((farm) => !gone.includes(farm));
}
