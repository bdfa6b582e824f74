// The herds that this phone keeps, encrypted where a word was given: AES-GCM, with a key that PBKDF2 makes from the word
// and that is kept nowhere. Farm and day of loading stay readable, and so does what was written down: nothing of that may
// be lost with a word.

// Rounds of PBKDF2 with SHA-256 [pub: OWASP Password Storage Cheat Sheet, 600,000].
const ROUNDS = 600000;
const SALT_BYTES = 16;
const IV_BYTES = 12;
export const SHORTEST_WORD = 6;

export function canLock() {
    return Boolean(globalThis.crypto?.subtle);
}

async function keyOf(word, salt) {
    const letters = new TextEncoder().encode(word.normalize("NFC"));
    const raw = await crypto.subtle.importKey("raw", letters, "PBKDF2", false, ["deriveKey"]);
    const how = { name: "PBKDF2", hash: "SHA-256", salt, iterations: ROUNDS };
    return crypto.subtle.deriveKey(how, raw, { name: "AES-GCM", length: 256 }, false, ["encrypt", "decrypt"]);
}

async function sealed(key, herd) {
    const iv = crypto.getRandomValues(new Uint8Array(IV_BYTES));
    const letters = new TextEncoder().encode(JSON.stringify(herd));
    const secret = await crypto.subtle.encrypt({ name: "AES-GCM", iv }, key, letters);
    return { farm: herd.farm, loaded: herd.loaded, iv, secret };
}

async function opened(key, row) {
    const letters = await crypto.subtle.decrypt({ name: "AES-GCM", iv: row.iv }, key, row.secret);
    return JSON.parse(new TextDecoder().decode(letters));
}

export class Kept {
    constructor(store) {
        this.store = store;
        this.key = null;
        this.lockKept = null;
    }

    async begin() {
        this.lockKept = (await this.store.get("lock")) || null;
    }

    // Whether there is a word, and it was not given since the page was opened.
    get locked() {
        return Boolean(this.lockKept) && !this.key;
    }

    // A herd as it was loaded; of one that is locked, farm and day alone, marked as shut.
    async read(row) {
        if (!row || !row.secret) return row || null;
        return this.key ? opened(this.key, row) : { farm: row.farm, loaded: row.loaded, shut: true };
    }

    async all() {
        const rows = await this.store.run((db) => db.herds.toArray());
        return Promise.all(rows.map((row) => this.read(row)));
    }

    async get(farm) {
        const herd = await this.read(await this.store.run((db) => db.herds.get(farm)));
        return herd && !herd.shut ? herd : null;
    }

    async put(herd) {
        const row = this.key ? await sealed(this.key, herd) : herd;
        await this.store.run((db) => db.herds.put(row));
    }

    async drop(farms) {
        await this.store.run((db) => db.herds.bulkDelete(farms));
    }

    async lock(word) {
        const herds = await this.all();
        const salt = crypto.getRandomValues(new Uint8Array(SALT_BYTES));
        const key = await keyOf(word, salt);
        const value = { salt, check: await sealed(key, { farm: "" }) };
        await this.replace(await Promise.all(herds.map((herd) => sealed(key, herd))), { name: "lock", value });
        this.key = key;
        this.lockKept = value;
    }

    // Whether the word is the one.
    async unlock(word) {
        const key = await keyOf(word, this.lockKept.salt);
        try {
            await opened(key, this.lockKept.check);
        } catch (error) {
            return false;
        }
        this.key = key;
        return true;
    }

    async takeOff() {
        await this.replace(await this.all(), null);
        this.key = this.lockKept = null;
    }

    // The herds go with their lock; they can be loaded again.
    async forget() {
        await this.replace([], null);
        this.key = this.lockKept = null;
    }

    // Herds and lock together, so that no death of the battery leaves one without the other.
    async replace(rows, lock) {
        await this.store.run((db) => db.transaction("rw", db.herds, db.kept, async () => {
            await db.herds.clear();
            await db.herds.bulkPut(rows);
            await (lock ? db.kept.put(lock) : db.kept.delete("lock"));
        }));
    }
}
