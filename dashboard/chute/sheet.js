// The day as a sheet: one row a finding, with the columns of Evenfoot's own sheets.
const TRIMS = [
    "visit_date", "farm", "trimmer", "visit_kind", "herd_size", "cow", "feet_seen", "foot", "claw", "zone", "lesion",
    "lesion_detail", "severity", "dd_stage", "toe_length_mm", "shed_stage", "action", "recheck_on", "locomotion_score",
    "locomotion_scale", "note",
];
const SCORES = ["date", "farm", "cow", "score", "scale", "scorer"];
const BOM = "\ufeff";

export function csvOf(visit, records) {
    const columns = visit.walk ? SCORES : TRIMS;
    const rows = records.filter((each) => !each.skipped).flatMap((each) => (visit.walk ? [scored(visit, each)] : rowsOf(visit, each)));
    const lines = [columns, ...rows.map((row) => columns.map((name) => row[name] ?? ""))];
    return BOM + lines.map((line) => line.map(cell).join(",")).join("\r\n") + "\r\n";
}

export function nameOf(visit) {
    return `${visit.farm} ${visit.date} ${visit.walk ? "locomotion" : "chute"}.csv`.replace(/[\\/:*?"<>|]/g, " ");
}

// What was done to a finding stands in one cell, as a trimmer writes it: "block, wrap".
export function actionsOf(found) {
    return found.action ? found.action.split(", ") : [];
}

function cell(value) {
    const text = String(value);
    return /[",\r\n;]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

function scored(visit, record) {
    return { date: visit.date, farm: visit.farm, cow: record.cow, score: record.score, scale: visit.scale, scorer: visit.who };
}

function rowsOf(visit, record) {
    const whole = {
        visit_date: visit.date, farm: visit.farm, trimmer: visit.who, visit_kind: visit.kind,
        herd_size: visit.herd_size, cow: record.cow,
        feet_seen: record.feet_seen.length === 4 ? "" : record.feet_seen.join(" "),
    };
    const rows = record.findings.map((found) => ({
        ...whole, foot: found.foot, claw: found.claw, zone: found.zone, lesion: found.lesion,
        lesion_detail: found.detail, severity: found.severity, dd_stage: found.stage, action: found.action,
        recheck_on: found.weeks ? later(visit.date, found.weeks) : "",
        note: actionsOf(found).includes("block") && found.block ? `block on ${found.block === "lateral" ? "outer" : "inner"} claw` : "",
    }));
    for (const [foot, horn] of Object.entries(record.horn)) {
        for (const claw of ["lateral", "medial"]) {
            if (horn[claw] || (horn.shed !== undefined && claw === "lateral")) {
                rows.push({ ...whole, foot, claw, toe_length_mm: horn[claw], shed_stage: horn.shed });
            }
        }
    }
    if (!rows.length) rows.push({ ...whole, lesion: "none" });
    if (record.score !== null) Object.assign(rows[0], { locomotion_score: record.score, locomotion_scale: visit.scale });
    return rows;
}

// So many weeks after the day of the visit, whatever the phone's clock says.
export function later(day, weeks) {
    const [year, month, date] = day.split("-").map(Number);
    return new Date(Date.UTC(year, month - 1, date + 7 * weeks)).toISOString().slice(0, 10);
}
