// What the phone keeps: visits, records, herds, and the touches of the cow at hand. Dexie stands before IndexedDB.
const OPEN_TRIES = 2;

export class Store {
    // account: whose records these are; another account on the same phone has a store of its own.
    constructor(account) {
        this.db = new Dexie(`evenfoot-chute-${account}`, { chromeTransactionDurability: "strict" });
        this.db.version(1).stores({ visits: "id", records: "id, visit", herds: "farm", kept: "name" });
        // Records that the database did not take stand here until it does.
        this.unkept = new Map();
    }

    // A phone may close its database when memory is short: it is opened again once.
    async run(work) {
        // What comes late, such as a herd, finds the door shut.
        if (this.wiped) throw new DOMException("wiped", "InvalidStateError");
        for (let turn = 1; ; turn += 1) {
            try {
                return await work(this.db);
            } catch (error) {
                if (turn >= OPEN_TRIES || error.name === "QuotaExceededError") throw error;
                this.db.close({ disableAutoOpen: false });
                await this.db.open();
            }
        }
    }

    async keep(record) {
        this.unkept.set(record.id, record);
        for (const each of [...this.unkept.values()]) {
            await this.run((db) => db.records.put(each));
            if (this.unkept.get(each.id) === each) this.unkept.delete(each.id);
        }
    }

    async drop(id) {
        this.unkept.delete(id);
        await this.run((db) => db.records.delete(id));
    }

    // Records of a visit, in the order of writing; the clock of the phone has no part in it.
    async records(visit) {
        let there = [];
        try {
            there = await this.run((db) => db.records.where("visit").equals(visit).toArray());
        } catch (error) {
            if (!this.unkept.size) throw error;
        }
        const all = new Map(there.map((each) => [each.id, each]));
        for (const each of this.unkept.values()) if (each.visit === visit) all.set(each.id, each);
        return [...all.values()].sort((one, other) => one.place - other.place);
    }

    // Marks records as arrived, but for those that were corrected while they were on the way.
    async arrived(records) {
        await this.run((db) => db.transaction("rw", db.records, async () => {
            for (const sent of records) {
                const now = await db.records.get(sent.id);
                if (now && now.turn === sent.turn) await db.records.put({ ...now, sent: true });
            }
        }));
        for (const sent of records) {
            const held = this.unkept.get(sent.id);
            if (held && held.turn === sent.turn) this.unkept.set(sent.id, { ...held, sent: true });
        }
    }

    async unsent() {
        const there = await this.run((db) => db.records.toArray());
        const all = new Map(there.map((each) => [each.id, each]));
        for (const each of this.unkept.values()) all.set(each.id, each);
        return [...all.values()].filter((each) => !each.sent).length;
    }

    async get(name) {
        const found = await this.run((db) => db.kept.get(name));
        return found && found.value;
    }

    async set(name, value) {
        await this.run((db) => db.kept.put({ name, value }));
    }

    async wipe() {
        this.wiped = true;
        this.unkept.clear();
        await this.db.delete({ disableAutoOpen: true });
    }
}
