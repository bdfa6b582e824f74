// The chute page. Every touch changes `app.now`, which the phone keeps, and the screen is drawn from it anew.
import { Store } from "./store.js";
import { actionsOf, csvOf, nameOf } from "./sheet.js";
import { drawFoot, places } from "./foot.js";
import { ask, giveFile, post } from "./sending.js";
import { wipeLoaded } from "./wiping.js";
import { dropHerds, farmsList, isOld, keptHerd, loadHerd, loadedWords, unlockPart } from "./herds.js";
import { Kept } from "./lock.js";
import { app, button, chip, chips, field, h, head, id, later, newId, say, tell, today } from "./parts.js";

const OFFERED = 4;
const UNDO_STEPS = 50;
const BUZZ_MS = 40;

// -- what is kept -----------------------------------------------------------------------------------------------------

function blank(cow = "") {
    return {
        cow, dirty: false, foot: null, claw: null, zone: null, all: false, found: null, letters: false,
        record: { id: newId(), turn: 0, cow, findings: [], horn: {}, score: null, feet_seen: app.facts.trade.feet.map((each) => each.foot) },
    };
}

function showTrouble() {
    if (app.store.wiped) return;
    const n = app.store.unkept.size;
    const words = n ? say("trouble", { n }) : app.forgets ? say("no_storage") : "";
    if (words === (id("trouble").dataset.words || "")) return;
    id("trouble").dataset.words = words;
    id("trouble").replaceChildren(...(words ? [h("p", {}, words), button(say("file"), saveFile)] : []));
}

function keepNow() {
    const now = structuredClone(app.now);
    return later(() => app.store.set("now", now));
}

// A touch: what was before is remembered, so that the touch can be undone.
function act(change, more = {}) {
    app.undone.push({ now: structuredClone(app.now), ...more });
    if (app.undone.length > UNDO_STEPS) app.undone.shift();
    change();
    keepNow();
    draw();
}

function undo() {
    const step = app.undone.pop();
    if (!step) return;
    app.now = step.now;
    if (step.saved) {
        app.records = app.records.filter((each) => each.id !== step.saved);
        if (step.before) app.records.push(step.before);
        later(() => (step.before ? app.store.keep(step.before) : app.store.drop(step.saved)));
        count();
    }
    tell("");
    keepNow();
    draw();
}

async function readDay() {
    if (!app.now.visit) return;
    try {
        app.records = await app.store.records(app.now.visit.id);
    } catch (error) {
        app.forgets = error.name || true;
    }
    await count();
}

async function count() {
    try {
        app.unsent = await app.store.unsent();
    } catch (error) {
        app.forgets = error.name || true;
        app.unsent = app.records.filter((each) => !each.sent).length;
    }
    bar();
}

// -- saving a cow -----------------------------------------------------------------------------------------------------

function saveCow(record, next) {
    const before = app.records.find((each) => each.id === record.id) || null;
    const last = Math.max(0, ...app.records.map((each) => each.place));
    const whole = {
        ...structuredClone(record), visit: app.now.visit.id, place: before ? before.place : last + 1,
        turn: record.turn + 1, sent: Boolean(record.skipped),
    };
    act(() => {
        app.records = [...app.records.filter((each) => each.id !== whole.id), whole].sort((one, other) => one.place - other.place);
        next();
    }, { saved: whole.id, before });
    later(() => app.store.keep(whole)).then(() => {
        if (!app.store.unkept.has(whole.id)) {
            tell(say("saved", { cow: whole.cow }));
            if (navigator.vibrate && navigator.userActivation?.hasBeenActive) navigator.vibrate(BUZZ_MS);
        }
        return count();
    });
}

// The finding at hand joins the cow's.
function joined() {
    const record = structuredClone(app.now.record);
    record.cow = app.now.cow.trim();
    if (app.now.found) record.findings.push(app.now.found);
    return record;
}

function saveTrim() {
    const record = joined();
    if (!record.cow) return tell(say("need_cow"));
    saveCow(record, () => Object.assign(app.now, blank(), { screen: "cow" }));
}

function setCow(cow) {
    app.now.cow = cow;
    if (!app.now.dirty) {
        const there = cow && app.records.find((each) => each.cow === cow && !each.sent);
        app.now.record = there ? structuredClone(there) : blank(cow).record;
    }
}

// -- the screens ------------------------------------------------------------------------------------------------------

function draw() {
    if (app.store.wiped) return;
    const focused = document.activeElement?.dataset?.key;
    const screens = { start: startScreen, cow: cowScreen, foot: footScreen, day: dayScreen, walk: walkScreen };
    if (app.now.screen === "start" && app.readForm) app.readForm();
    app.readForm = null;
    const moved = id("screen").dataset.screen !== app.now.screen;
    id("screen").dataset.screen = app.now.screen;
    id("screen").replaceChildren(...[unlockPart(), ...screens[app.now.screen]()].filter(Boolean));
    bar();
    const again = focused && document.querySelector(`[data-key="${CSS.escape(focused)}"]`);
    if (again && !again.disabled) {
        again.focus({ preventScroll: true });
        if (again.tagName === "INPUT" && again.type === "text") again.setSelectionRange(again.value.length, again.value.length);
    } else if (focused) {
        const head = id("screen").querySelector("h1");
        if (head) head.focus({ preventScroll: true });
    }
    if (moved) window.scrollTo(0, 0);
}

function go(screen) {
    app.now.screen = screen;
    keepNow();
    draw();
}

function bar() {
    if (app.store.wiped) return;
    const sent = app.unsent ? say("unsent", { n: app.unsent }) : say("all_sent");
    const work = app.now.visit ? (app.now.visit.walk ? "walk" : "cow") : "start";
    id("bar").replaceChildren(...[
        h("button", { type: "button", "data-key": "undo", id: "undo", on: undo, disabled: !app.undone.length }, say("undo")),
        app.now.screen === "day" && app.now.visit ? h("button", { type: "button", "data-key": "number", on: () => go(work) }, say("number")) : null,
        app.now.screen === "start" ? null : h("button", { type: "button", "data-key": "visit", on: () => go("start") }, say("visit")),
        app.now.visit ? h("button", { type: "button", "data-key": "day", id: "count", on: () => go("day"), "aria-label": `${say("day")}: ${sent}` }, h("b", {}, say("day")), h("span", {}, sent)) : h("span", { id: "count" }, sent),
    ].filter(Boolean));
}

function startScreen() {
    const trade = app.facts.trade;
    const draft = app.now.draft || { farm: app.farms[0] || "", date: today(), who: app.facts.name, kind: "", herd_size: "", walk: false, scale: "" };
    if (!draft.farm && !draft.new_farm) draft.farm = app.farms[0] || "";
    const form = h("form", { class: "form", novalidate: true },
        chips(say("visit"), [
            chip(say("trim_visit"), !draft.walk, () => change({ walk: false })),
            chip(say("walk"), draft.walk, () => change({ walk: true })),
        ]),
        app.farms.length ? field("farm", say("farm"), draft.farm, { choices: [...app.farms.map((each) => [each, each]), ["", say("other_farm")]] }) : null,
        app.farms.includes(draft.farm) ? null : field("new_farm", say("farm_name"), draft.new_farm || ""),
        field("date", say("date"), draft.date, { type: "date" }),
        field("who", draft.walk ? say("scorer") : say("trimmer"), draft.who),
        draft.walk ? null : field("kind", say("kind"), draft.kind, { choices: [["", "–"], ...Object.entries(trade.kinds)] }),
        draft.walk ? null : field("herd_size", say("herd_size"), draft.herd_size, { inputmode: "numeric" }),
        field("scale", say("scale"), draft.scale || app.herd?.scale || "1-5", { choices: Object.keys(trade.scales).map((each) => [each, each]) }),
        h("button", { type: "submit", class: "main", "data-key": "begin" }, say("begin")),
    );
    const read = () => { app.now.draft = Object.assign(draft, Object.fromEntries(new FormData(form))); };
    // What is typed stays when the screen is drawn anew.
    app.readForm = read;
    const change = (more) => { read(); Object.assign(draft, more); app.now.draft = draft; keepNow(); draw(); };
    form.addEventListener("change", async (event) => {
        // Drawing anew here would take the button away from under a finger that comes from a field.
        read();
        keepNow();
        if (event.target.name !== "farm") return;
        draw();
        await loadHerd(draft.farm, true);
    });
    form.addEventListener("submit", async (event) => {
        event.preventDefault();
        read();
        const farm = (app.farms.includes(draft.farm) ? draft.farm : draft.new_farm || "").trim();
        if (!farm || !draft.date || (!draft.walk && !draft.kind)) return tell(say("need"));
        tell("");
        const size = /^\d+$/.test(draft.herd_size.trim()) ? draft.herd_size.trim() : "";
        const visit = { id: newId(), farm, date: draft.date, who: draft.who.trim(), walk: draft.walk, kind: draft.kind, herd_size: size, scale: draft.scale };
        later(() => app.store.run((db) => db.visits.put(visit)));
        app.visits.push(visit);
        await openVisit(visit);
    });
    return [
        head(say("title")),
        app.demo ? h("p", { class: "caution" }, say("demo")) : null,
        form,
        visitsList(),
        farmsList(),
        h("details", {}, h("summary", {}, say("on_phone")), ["way_one", "way_two", "no_http"].map((name) => h("p", {}, say(name)))),
        window.isSecureContext ? null : h("p", { class: "caution" }, say("needs_tls")),
        h("p", { class: "basis" }, app.facts.words.caution),
        h("div", { class: "row" }, h("a", { href: "/", class: "take" }, say("office")), button(say("sign_out"), signOut, { "data-key": "sign-out" })),
        app.now.signing ? h("div", { class: "caution" }, h("p", {}, say("sign_out_unsent", { n: app.unsent })), button(say("wipe_anyway"), wipe, { "data-key": "wipe" })) : null,
    ];
}

function visitsList() {
    if (!app.visits.length) return null;
    return h("section", {}, h("h2", {}, say("visits")), h("ul", { class: "found" }, [...app.visits].reverse().map((visit) => h("li", {},
        h("span", {}, `${visit.farm}, ${visit.date}, ${visit.walk ? say("walk") : app.facts.trade.kinds[visit.kind]}`),
        h("button", { type: "button", "data-key": `open-${visit.id}`, on: () => openVisit(visit), "aria-label": `${say("open")}: ${visit.farm} ${visit.date}` }, say("open"))))));
}

async function openVisit(visit) {
    app.undone = [];
    app.answer = null;
    app.now = { ...blank(), visit, screen: visit.walk ? "walk" : "cow" };
    keepNow();
    await readDay();
    await keptHerd(visit.farm);
    draw();
    loadHerd(visit.farm, false);
}

function natural(one, other) {
    return one.cow.localeCompare(other.cow, "en", { numeric: true });
}

function keypad(change) {
    const digit = (each) => h("button", { type: "button", class: "key", "data-key": `digit-${each}`, on: () => change(app.now.cow + each) }, each);
    return h("div", { class: "keys" },
        ["1", "2", "3", "4", "5", "6", "7", "8", "9"].map(digit),
        h("button", { type: "button", class: "key words", "data-key": "letters", on: () => { app.now.letters = true; draw(); id("cow").focus(); } }, say("letters")),
        digit("0"),
        h("button", { type: "button", class: "key", "data-key": "less", "aria-label": say("back_digit"), on: () => change(app.now.cow.slice(0, -1)) }, "←"));
}

function numberField(change) {
    const input = h("input", { type: "text", id: "cow", "data-key": "cow", value: app.now.cow, autocomplete: "off", "aria-label": say("number"), placeholder: say("number"), inputmode: app.now.letters ? "text" : "none", maxlength: "40" });
    input.addEventListener("input", () => change(input.value));
    return input;
}

function offered(change) {
    const digits = app.now.cow.trim().toLowerCase();
    if (!digits || !app.herd) return h("div", { class: "offered" });
    const found = app.herd.cows.filter((each) => each.cow.toLowerCase().endsWith(digits) && each.cow !== app.now.cow);
    return h("div", { class: "offered" }, found.sort(natural).slice(0, OFFERED).map((each) => h("button", { type: "button", "data-key": `cow-${each.cow}`, on: () => change(each.cow) }, each.cow)));
}

function band() {
    const cow = app.now.cow.trim();
    if (!cow) return h("div", { class: "band" });
    const there = app.records.filter((each) => each.cow === cow);
    const met = there.some((each) => !each.sent) ? say("here") : there.some((each) => !each.skipped) ? say("sent_before") : "";
    const known = app.herd && app.herd.cows.find((each) => each.cow === cow);
    const lines = known ? [known.worst && h("strong", {}, `▲ ${known.worst}`), known.last, known.due] : [app.herd ? say("unknown") : say("not_loaded")];
    return h("div", { class: known?.worst ? "band worst" : "band", "aria-live": "polite", tabindex: "0" }, [met && h("em", {}, met), ...lines].filter(Boolean).map((line) => h("p", {}, line)));
}

function foundWords(found) {
    const trade = app.facts.trade;
    const lesion = trade.lesions.find((each) => each.code === found.lesion);
    const detail = lesion.details.find((each) => each.code === found.detail);
    const foot = trade.feet.find((each) => each.foot === found.foot).name;
    const done = actionsOf(found).map((action) => (action === "block" && found.block ? say("block_on", { claw: trade.claws[found.block] }) : trade.actions[action]));
    return [foot, found.claw && trade.claws[found.claw], `${found.zone}`, detail ? detail.name : lesion.name, found.stage, found.severity && trade.severities[found.severity], ...done].filter(Boolean).join(", ");
}

function cowScreen() {
    const trade = app.facts.trade;
    const change = (cow) => act(() => setCow(cow));
    const record = app.now.record;
    const marks = (foot) => record.findings.filter((each) => each.foot === foot);
    const empty = !record.findings.length && !Object.keys(record.horn).length;
    return [
        h("h1", { tabindex: "-1", class: "unseen" }, say("number")),
        where(),
        numberField(change), offered(change), band(),
        record.findings.length ? h("ul", { class: "found" }, record.findings.map((found, place) => h("li", {}, h("span", {}, foundWords(found)),
            h("button", { type: "button", "data-key": `remove-${place}`, "aria-label": `${say("remove")}: ${foundWords(found)}`, on: () => act(() => { record.findings.splice(place, 1); app.now.dirty = true; }) }, say("remove"))))) : null,
        keypad(change),
        h("div", { class: "feet" }, trade.feet.map(({ foot, name }) => h("button", {
            type: "button", "data-key": `foot-${foot}`, class: marks(foot).length ? "marked" : null,
            on: () => (app.now.cow.trim() ? act(() => Object.assign(app.now, { screen: "foot", foot, claw: null, zone: null, found: null, all: false, dirty: true })) : tell(say("need_cow"))),
        }, drawFoot(trade, foot, marks(foot)), h("span", {}, name, marks(foot).length ? h("b", {}, ` ${marks(foot).length}`) : null)))),
        button(empty ? say("clean") : say("save"), saveTrim, { class: "main", "data-key": "next" }),
        fold(),
        seeList(change),
    ];
}

function where() {
    const { farm, date } = app.now.visit;
    const old = app.herd && isOld(app.herd) ? `. ▲ ${say("herd_old", { when: loadedWords(app.herd) })}` : "";
    return h("p", { class: "where" }, `${farm}, ${date}${old}`);
}

// Who is to be seen, the most pressing first, without those that were met today.
function seeList(change) {
    const met = new Set(app.records.map((each) => each.cow));
    const left = (app.herd?.list || []).filter((cow) => !met.has(cow));
    if (!left.length) return null;
    const known = new Map(app.herd.cows.map((each) => [each.cow, each]));
    const made = h("details", { open: app.seeOpen }, h("summary", { "data-key": "see" }, say("to_see", { n: left.length })),
        h("ul", { class: "list" }, left.map((cow) => h("li", {},
            h("button", { type: "button", class: "see", "data-key": `see-${cow}`, on: () => { app.seeOpen = false; change(cow); window.scrollTo(0, 0); } },
                h("b", {}, cow), h("span", {}, known.get(cow)?.worst || known.get(cow)?.due || ""))))));
    made.addEventListener("toggle", () => { app.seeOpen = made.open; });
    return made;
}

function fold() {
    const trade = app.facts.trade;
    const record = app.now.record;
    const set = (change) => act(() => { change(); app.now.dirty = true; });
    const scale = trade.scales[app.now.visit.scale] || trade.scales["1-5"];
    const made = h("details", { open: app.now.open }, h("summary", { "data-key": "more" }, say("more")),
        chips(say("score"), scale.map(({ score, says }) => chip(`${score} ${says}`, record.score === score, () => set(() => { record.score = record.score === score ? null : score; })))),
        chips(say("feet_seen"), trade.feet.map(({ foot, name }) => chip(name, record.feet_seen.includes(foot), () => set(() => {
            const without = record.feet_seen.filter((each) => each !== foot);
            record.feet_seen = without.length === record.feet_seen.length ? [...without, foot] : without.length ? without : record.feet_seen;
        }), `seen-${foot}`))));
    made.addEventListener("toggle", () => { app.now.open = made.open; });
    return made;
}

function footScreen() {
    const trade = app.facts.trade;
    const { foot, zone, claw } = app.now;
    const name = trade.feet.find((each) => each.foot === foot).name;
    const where = zone === null ? "" : [claw && trade.claws[claw], `${zone} ${trade.zones[zone]}`].filter(Boolean).join(", ");
    const parts = [head(`${app.now.cow}: ${name}`), where ? h("p", { class: "where" }, where) : null];
    if (zone === null) parts.push(...wholeFoot(foot));
    else if (!app.now.found) parts.push(...lesionChoice());
    else parts.push(...findingParts());
    parts.push(button(say("to_number"), () => act(() => Object.assign(app.now, { screen: "cow", found: null, zone: null })), { class: "quiet", "data-key": "to_number" }));
    return parts;
}

function wholeFoot(foot) {
    const trade = app.facts.trade;
    const touched = (claw, zone) => act(() => Object.assign(app.now, { claw, zone }));
    const marks = app.now.record.findings.filter((each) => each.foot === foot);
    const spots = places(trade, foot).map((each) => h("button", {
        type: "button", class: "spot", style: `left:${each.left}%;top:${each.top}%`, "data-key": `zone-${each.claw}-${each.zone}`,
        "aria-label": [each.claw && trade.claws[each.claw], each.zone, trade.zones[each.zone]].filter((part) => part !== "").join(", "),
        on: () => touched(each.claw, each.zone),
    }, String(each.zone)));
    const claws = foot.startsWith("L") ? ["medial", "lateral"] : ["lateral", "medial"];
    return [
        h("div", { class: "claws" }, claws.map((claw) => h("span", {}, trade.claws[claw]))),
        h("div", { class: "whole" }, drawFoot(trade, foot, marks, touched), spots),
        h("p", { class: "basis" }, say("from_below")),
        horn(foot),
    ];
}

function horn(foot) {
    const trade = app.facts.trade;
    const record = app.now.record;
    const there = record.horn[foot] || {};
    const factor = trade.units === "in" ? 25.4 : 1;
    const keep = (more) => {
        const next = Object.fromEntries(Object.entries({ ...record.horn[foot], ...more }).filter(([, value]) => value !== undefined));
        record.horn[foot] = next;
        if (!Object.keys(next).length) delete record.horn[foot];
        app.now.dirty = true;
    };
    const lengths = Object.entries(trade.claws).map(([claw, words]) => {
        const shown = there[claw] ? String(Math.round((there[claw] / factor) * 100) / 100) : "";
        const made = field(`toe-${claw}`, say("toe", { claw: words, unit: trade.units }), shown, { inputmode: "decimal", "data-key": `toe-${claw}` });
        made.querySelector("input").addEventListener("input", (event) => {
            const length = Number(event.target.value.replace(",", "."));
            keep({ [claw]: length > 0 ? Math.round(length * factor * 10) / 10 : undefined });
            keepNow();
        });
        return made;
    });
    const made = h("details", { open: app.now.hornOpen }, h("summary", { "data-key": "horn" }, say("more_horn")),
        chips(say("shed"), Object.entries(trade.sheds).map(([stage, words]) => chip(`${stage} ${words}`, there.shed === stage, () => act(() => keep({ shed: there.shed === stage ? undefined : stage }))))), lengths);
    made.addEventListener("toggle", () => { app.now.hornOpen = made.open; });
    return made;
}

function lesionChoice() {
    const usual = app.facts.trade.lesions.filter((each) => each.zones.includes(app.now.zone));
    usual.sort((one, other) => one.zones.indexOf(app.now.zone) - other.zones.indexOf(app.now.zone));
    const shown = app.now.all || !usual.length ? app.facts.trade.lesions : usual;
    const choose = (lesion) => act(() => {
        app.now.found = { foot: app.now.foot, claw: app.now.claw, zone: app.now.zone, lesion: lesion.code, detail: "", severity: "", stage: "", action: "", block: "", weeks: 0 };
    });
    return [h("div", { class: "lesions" },
        shown.map((each) => h("button", { type: "button", "data-key": `lesion-${each.code}`, on: () => choose(each) }, h("b", {}, each.code === "other" ? "…" : each.code), h("span", {}, each.name))),
        shown === usual ? button(say("other_lesions"), () => act(() => { app.now.all = true; }), { class: "quiet" }) : null)];
}

function findingParts() {
    const trade = app.facts.trade;
    const found = app.now.found;
    const lesion = trade.lesions.find((each) => each.code === found.lesion);
    const flip = (name, value) => act(() => { found[name] = found[name] === value ? (name === "weeks" ? 0 : "") : value; });
    const actions = actionsOf(found);
    const set = (chosen, block) => act(() => Object.assign(found, { action: Object.keys(trade.actions).filter((each) => chosen.includes(each)).join(", "), block }));
    const without = (action) => actions.filter((each) => each !== action);
    const flipDone = (action) => set(actions.includes(action) ? without(action) : [...actions, action], found.block);
    const flipBlock = (claw) => (found.block === claw ? set(without("block"), "") : set([...actions, "block"], claw));
    // A block goes under the sound claw: with a wrap on the other it is one touch.
    const sound = found.claw && Object.keys(trade.claws).find((claw) => claw !== found.claw);
    const both = found.block === sound && actions.includes("wrap");
    const flipBoth = () => (both ? set(without("block").filter((each) => each !== "wrap"), "") : set([...actions, "block", "wrap"], sound));
    return [
        h("h2", {}, lesion.name),
        lesion.details.length ? chips(say("which"), lesion.details.map((each) => chip(each.name, found.detail === each.code, () => flip("detail", each.code)))) : null,
        found.lesion === "DD" ? chips(say("stage"), Object.entries(trade.stages).map(([stage, words]) => chip(`${stage} ${words}`, found.stage === stage, () => flip("stage", stage), `stage-${stage}`))) : null,
        chips(say("severity"), Object.entries(trade.severities).map(([number, words]) => chip(`${number} ${words}`, found.severity === number, () => flip("severity", number), `severity-${number}`))),
        chips(say("done"), [
            ...Object.entries(trade.actions).filter(([action]) => action !== "block").map(([action, words]) => chip(words, actions.includes(action), () => flipDone(action), `action-${action}`)),
            ...Object.entries(trade.claws).map(([claw, words]) => chip(say("block_on", { claw: words }), found.block === claw, () => flipBlock(claw), `block-${claw}`)),
            sound ? chip(say("block_wrap", { claw: trade.claws[sound] }), both, flipBoth, "block-wrap") : null,
        ]),
        chips(say("recheck"), trade.weeks.map((weeks) => chip(weeks === 1 ? say("one_week") : say("weeks", { n: weeks }), found.weeks === weeks, () => flip("weeks", weeks)))),
        button(say("save"), saveTrim, { class: "main", "data-key": "next" }),
        h("button", { type: "button", "data-key": "more-found", on: () => act(() => { app.now.record = joined(); Object.assign(app.now, { screen: "cow", found: null, zone: null, dirty: true }); }) }, say("more_found")),
    ];
}

// -- the locomotion walk ----------------------------------------------------------------------------------------------

function walkScreen() {
    const visit = app.now.visit;
    const scale = app.facts.trade.scales[visit.scale];
    const met = new Set(app.records.map((each) => each.cow));
    const inOrder = app.now.order && app.herd;
    const next = inOrder ? [...app.herd.cows].sort(natural).find((each) => !met.has(each.cow)) : null;
    if (inOrder) app.now.cow = next ? next.cow : "";
    const change = (cow) => act(() => setCow(cow));
    const score = (value, skipped) => {
        const cow = app.now.cow.trim();
        if (!cow) return tell(inOrder ? say("all_met") : say("need_cow"));
        const there = app.records.find((each) => each.cow === cow && (!each.sent || each.skipped));
        const record = there ? structuredClone(there) : blank(cow).record;
        saveCow({ ...record, cow, score: value, skipped }, () => Object.assign(app.now, blank()));
    };
    const done = app.records.filter((each) => !each.skipped).length;
    return [
        h("h1", { tabindex: "-1", class: "unseen" }, say("walk")),
        where(),
        h("p", { class: "basis" }, say("to_score", { done, skipped: app.records.length - done, n: app.herd?.to_score || "–" })),
        app.herd?.cows.length ? h("div", { class: "chips", role: "group", "aria-label": say("number") }, h("div", {},
            chip(say("by_number"), !app.now.order, () => act(() => { app.now.order = false; setCow(""); })),
            chip(say("in_order"), Boolean(app.now.order), () => act(() => { app.now.order = true; })))) : null,
        inOrder ? h("p", { class: "big" }, app.now.cow || say("all_met")) : numberField(change),
        inOrder ? null : offered(change), band(), inOrder ? null : keypad(change),
        h("div", { class: `scores of-${scale.length}` }, scale.map((each) => h("button", { type: "button", "data-key": `score-${each.score}`, on: () => score(each.score, false) }, h("b", {}, String(each.score)), h("span", {}, each.says)))),
        button(say("skip"), () => score(null, true), { class: "quiet", "data-key": "skip" }),
    ];
}

// -- the day ----------------------------------------------------------------------------------------------------------

function words(record) {
    if (record.skipped) return say("skipped");
    const parts = record.findings.map(foundWords);
    if (record.score !== null) parts.push(`${say("score")} ${record.score}`);
    for (const foot of Object.keys(record.horn)) parts.push(`${app.facts.trade.feet.find((each) => each.foot === foot).name}: ${say("more_horn")}`);
    return parts.join("; ") || say("clean_cow");
}

function dayScreen() {
    const walk = app.now.visit.walk;
    const open = app.records.filter((each) => !each.sent);
    // The whole day goes each time: a record beside those it was written with is taken for no other cow's.
    const whole = app.records.filter((each) => !each.skipped);
    const correct = (record) => act(() => Object.assign(app.now, blank(record.cow), { screen: walk ? "walk" : "cow", order: false, cow: record.cow, record: structuredClone(record), dirty: !walk }));
    const remove = (record) => act(() => {
        app.records = app.records.filter((each) => each.id !== record.id);
        later(() => app.store.drop(record.id)).then(count);
    }, { saved: record.id, before: record });
    return [
        head(`${say("day")}: ${app.now.visit.farm}, ${app.now.visit.date}`),
        h("button", { type: "button", class: "main", "data-key": "send", disabled: !open.length || app.sending, on: () => send(whole) }, app.sending ? say("sending") : say("send", { n: open.length })),
        answerParts(),
        h("div", { class: "row" },
            button(say("file"), saveFile),
            app.records.some((each) => each.sent && !each.skipped) ? h("button", { type: "button", "data-key": "again", disabled: app.sending, on: () => send(whole) }, say("send_again")) : null),
        app.records.length ? null : h("p", {}, say("nothing")),
        h("ul", { class: "list" }, [...app.records].reverse().map((record) => h("li", {},
            h("span", {}, h("b", {}, record.cow), " ", words(record), record.sent && !record.skipped ? h("em", {}, ` ✓ ${say("in_office")}`) : null),
            record.sent && !record.skipped ? null : h("div", { class: "row" },
                h("button", { type: "button", "data-key": `correct-${record.id}`, "aria-label": `${say("correct")}: ${record.cow}`, on: () => correct(record) }, say("correct")),
                h("button", { type: "button", "data-key": `remove-${record.id}`, "aria-label": `${say("remove")}: ${record.cow}`, on: () => remove(record) }, say("remove")))))),
        app.records.length && !open.length ? button(say("forget"), forget, { class: "quiet" }) : null,
    ];
}

function answerParts() {
    const answer = app.answer;
    if (!answer) return null;
    if (answer.state === "added") {
        return h("div", { class: "answer", role: "status" },
            h("p", {}, say("added", { added: answer.added, known: answer.known, held: answer.set_aside })),
            answer.reasons.map((each) => h("p", {}, say("held_why", each))), answer.notes.map((each) => h("p", {}, each)));
    }
    if (answer.state !== "asked") {
        const told = answer.state === "refused" ? answer.sentence : answer.state === "signed out" ? say("sign_in") : say("no_answer");
        return h("p", { class: "caution", role: "alert" }, told, answer.state === "signed out" ? h("a", { href: "/login?next=/chute", class: "take" }, say("office")) : null);
    }
    const given = app.given;
    return h("div", { class: "caution", role: "alert" },
        h("p", {}, say("asked")),
        answer.both.map((each) => h("p", {}, `${each.what}: ${say("here_already")} ${each.before}; ${say("in_sheet")} ${each.now}`)),
        answer.questions.map((question) => {
            const own = question.free ? field(`q-${question.id}`, question.text, given[question.id] || "") : null;
            own?.querySelector("input").addEventListener("input", (event) => { given[question.id] = event.target.value.trim(); });
            return h("div", {}, chips(question.text, question.choices.map((choice) => chip(choice.says, given[question.id] === choice.value, () => { given[question.id] = choice.value; draw(); }, `${question.id}-${choice.value}`))), own);
        }),
        button(say("answer_send"), () => send(app.asked, given), { "data-key": "answers" }));
}

async function send(records, given = {}) {
    if (app.sending) return;
    app.sending = true;
    app.answer = null;
    draw();
    await app.work;
    const visit = app.now.visit;
    const body = { name: nameOf(visit), csv: csvOf(visit, records), given };
    const answer = await post("/chute/visit", app.facts.word, body);
    app.asked = records;
    app.given = given;
    if (answer.state === "added") {
        await later(() => app.store.arrived(records));
        app.given = {};
        app.undone = [];
    }
    app.answer = answer;
    app.sending = false;
    await readDay();
    draw();
}

async function saveFile() {
    const visit = app.now.visit;
    if (visit && (await giveFile(nameOf(visit), csvOf(visit, app.records)))) tell(say("shared"));
}

async function forget() {
    const visit = app.now.visit;
    await later(() => app.store.run((db) => db.transaction("rw", db.visits, db.records, async () => {
        await db.records.where("visit").equals(visit.id).delete();
        await db.visits.delete(visit.id);
    })));
    app.visits = app.visits.filter((each) => each.id !== visit.id);
    Object.assign(app, { records: [], undone: [], answer: null, now: { ...blank(), screen: "start", visit: null } });
    await keepNow();
    await count();
    draw();
}

// -- signing out, beginning ------------------------------------------------------------------------------------

async function signOut() {
    await count();
    if (!app.unsent) return wipe();
    app.now.signing = true;
    draw();
}

async function wipe() {
    app.elsewhere?.close();
    await app.store.wipe();
    await wipeLoaded().catch(() => null);
    await post("/logout", app.facts.word, {});
    document.body.replaceChildren(h("p", { class: "caution", role: "status" }, say("wiped")), h("a", { href: "/", class: "take" }, say("office")));
}

function keepFacts() {
    if (!("caches" in window)) return;
    const answer = new Response(JSON.stringify(app.facts), { headers: { "Content-Type": "application/json" } });
    caches.open("evenfoot-chute-facts").then((cache) => cache.put("/chute/facts", answer)).catch(() => null);
}

async function begin() {
    const language = new URLSearchParams(location.search).get("language");
    app.facts = await ask(`/chute/facts${language ? `?language=${encodeURIComponent(language)}` : ""}`);
    if (!app.facts.words) {
        location.replace("/login?next=/chute");
        return;
    }
    keepFacts();
    document.documentElement.lang = app.facts.language;
    document.title = `${say("title")} – Evenfoot`;
    app.store = new Store(app.facts.account);
    app.kept = new Kept(app.store);
    Object.assign(app, { draw, showTrouble });
    app.now = { ...blank(), screen: "start", visit: null };
    try {
        app.visits = await app.store.run((db) => db.visits.toArray());
        await app.kept.begin();
        app.herds = await app.kept.all();
        app.ticked = app.herds.map((each) => each.farm);
        app.now = { ...app.now, ...((await app.store.get("now")) || {}), signing: false };
        const kept = (await app.store.get("farms")) || { farms: [], demo: false };
        Object.assign(app, { farms: kept.farms, demo: kept.demo });
    } catch (error) {
        app.forgets = error.name || true;
    }
    await readDay();
    if (app.now.visit) await keptHerd(app.now.visit.farm);
    draw();
    showTrouble();
    if (navigator.storage?.persist) navigator.storage.persist().catch(() => false);
    if ("serviceWorker" in navigator) navigator.serviceWorker.register("/chute/worker.js", { scope: "/chute" }).catch(() => null);
    // Signed out on another page: what this one still shows goes too.
    app.elsewhere = new BroadcastChannel("evenfoot-chute");
    app.elsewhere.onmessage = () => location.reload();
    const farms = await ask("/chute/farms");
    if (farms.farms) {
        Object.assign(app, { farms: farms.farms, demo: farms.demo });
        await later(() => app.store.set("farms", { farms: farms.farms, demo: farms.demo }));
        // A farm that is no longer granted leaves the phone.
        await dropHerds((farm) => !farms.farms.includes(farm));
        if (app.now.screen === "start") draw();
        await loadHerd(app.now.visit ? app.now.visit.farm : app.farms[0], false);
    }
    document.documentElement.dataset.ready = "yes";
}

begin();
