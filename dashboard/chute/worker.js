// Keeps the page and its files, so that it opens with no network. A new state of the files is fetched whole.
const CACHE = "evenfoot-chute-VERSION_OF_FILES";
const FILES = [
    "/chute", "/chute/chute.css", "/chute/chute.js", "/chute/store.js", "/chute/sheet.js", "/chute/foot.js",
    "/chute/sending.js", "/chute/wiping.js", "/chute/parts.js", "/chute/herds.js", "/chute/lock.js", "/chute/dexie.min.js", "/chute/icon.svg", "/chute/chute.webmanifest",
];
// The page puts its words here, in the language they were last read in.
const FACTS = "evenfoot-chute-facts";
const FACTS_MS = 4000;

self.addEventListener("install", (event) => {
    event.waitUntil((async () => {
        const cache = await caches.open(CACHE);
        for (const path of FILES) {
            const answer = await fetch(path, { cache: "no-store" });
            // Signed out, the server leads to the sign-in page: that is not kept in the place of a file.
            if (!answer.ok || answer.redirected) throw new Error(path);
            await cache.put(path, answer);
        }
        await self.skipWaiting();
    })());
});

self.addEventListener("activate", (event) => {
    event.waitUntil((async () => {
        const names = await caches.keys();
        const old = names.filter((name) => name.startsWith("evenfoot-chute-") && name !== CACHE && name !== FACTS);
        await Promise.all(old.map((name) => caches.delete(name)));
        await self.clients.claim();
    })());
});

self.addEventListener("fetch", (event) => {
    const url = new URL(event.request.url);
    if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
    if (url.pathname === "/chute/facts") event.respondWith(freshOrKept(event.request));
    else if (FILES.includes(url.pathname)) event.respondWith(kept(event.request, url.pathname));
});

async function kept(request, path) {
    const cache = await caches.open(CACHE);
    return (await cache.match(path)) || fetch(request);
}

async function freshOrKept(request) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), FACTS_MS);
    try {
        return await fetch(request, { signal: stop.signal });
    } catch (error) {
        return (await (await caches.open(FACTS)).match("/chute/facts")) || Response.error();
    } finally {
        clearTimeout(timer);
    }
}
