// What goes to the office and comes from there. Nothing is sent by itself.
const PATIENCE_MS = 120000;

export async function ask(path, options = {}) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), options.patience || PATIENCE_MS);
    try {
        const answer = await fetch(path, { ...options, signal: stop.signal, redirect: "manual" });
        if (answer.type === "opaqueredirect" || answer.status === 401) return { state: "signed out" };
        const type = answer.headers.get("Content-Type") || "";
        if (type.startsWith("application/json")) return await answer.json();
        return answer.ok ? { state: "silent" } : { state: "refused", sentence: await answer.text() };
    } catch (error) {
        return { state: "silent" };
    } finally {
        clearTimeout(timer);
    }
}

// The word of the session stands in a cookie, and has to come back as a header.
function wordOf(cookie) {
    const found = document.cookie.split("; ").find((each) => each.startsWith(`${cookie}=`));
    return found ? decodeURIComponent(found.slice(cookie.length + 1)) : "";
}

export function post(path, cookie, body) {
    const word = wordOf(cookie);
    const headers = { "Content-Type": "application/json", ...(word ? { "X-CSRFToken": word } : {}) };
    return ask(path, { method: "POST", headers, body: JSON.stringify(body) });
}

// The day as a file: shared where the phone can share files, else saved.
export async function giveFile(name, text) {
    const file = new File([text], name, { type: "text/csv" });
    const phone = window.matchMedia("(pointer: coarse)").matches;
    if (phone && navigator.canShare && navigator.canShare({ files: [file] })) {
        try {
            await navigator.share({ files: [file], title: name });
            return true;
        } catch (error) {
            if (error.name === "AbortError") return false;
        }
    }
    const link = document.createElement("a");
    link.href = URL.createObjectURL(file);
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    return true;
}
