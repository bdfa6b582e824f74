// Takes off this browser what was loaded: herds, lists, what is known of cows. Records that were not sent stay, alone.
const NAMES = "evenfoot-chute-";

function done(request) {
    return new Promise((resolve, reject) => {
        request.onsuccess = () => resolve(request.result);
        request.onerror = () => reject(request.error);
    });
}

// What was begun of a cow and not saved counts as a record.
function begun(now) {
    const record = now?.visit && now.record;
    return Boolean(record && now.dirty && (now.found || record.findings.length || Object.keys(record.horn).length || record.score !== null));
}

// Leaves the unsent records of an account with their visits; how many there are.
async function thin(db) {
    const work = db.transaction(["visits", "records", "herds", "kept"], "readwrite");
    const [visits, records, herds, kept] = ["visits", "records", "herds", "kept"].map((name) => work.objectStore(name));
    const now = (await done(kept.get("now")))?.value;
    const all = await done(records.getAll());
    const unsent = new Map(all.filter((each) => !each.sent).map((each) => [each.id, each.visit]));
    if (begun(now)) unsent.set(now.record.id, now.visit.id);
    const needed = new Set(unsent.values());
    herds.clear();
    for (const name of await done(kept.getAllKeys())) if (name !== "now" || !begun(now)) kept.delete(name);
    for (const each of all) if (!unsent.has(each.id)) records.delete(each.id);
    for (const visit of await done(visits.getAllKeys())) if (!needed.has(visit)) visits.delete(visit);
    await new Promise((resolve, reject) => {
        work.oncomplete = resolve;
        work.onabort = () => reject(work.error);
    });
    return unsent.size;
}

async function wipeAccount(name) {
    const db = await done(indexedDB.open(name));
    let left = 0;
    try {
        if (db.objectStoreNames.contains("records")) left = await thin(db);
    } finally {
        db.close();
    }
    // Another tab may hold it open; it is empty by now.
    if (!left) await new Promise((resolve) => Object.assign(indexedDB.deleteDatabase(name), { onsuccess: resolve, onerror: resolve, onblocked: resolve }));
    return left;
}

// Every account's data on this browser; gives the number of records that were not sent. The page itself is kept while
// there are any, so that it opens with no network.
export async function wipeLoaded() {
    let left = 0;
    for (const { name } of await indexedDB.databases()) if (name.startsWith(NAMES)) left += await wipeAccount(name);
    new BroadcastChannel("evenfoot-chute").postMessage("wiped");
    localStorage.clear();
    sessionStorage.clear();
    if (left) return left;
    if ("caches" in window) for (const name of await caches.keys()) if (name.startsWith(NAMES)) await caches.delete(name);
    if ("serviceWorker" in navigator) for (const each of await navigator.serviceWorker.getRegistrations()) await each.unregister();
    return 0;
}
