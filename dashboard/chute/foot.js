// The foot from below, toes up, from the same outline as the dashboard's drawings.
const SVG = "http://www.w3.org/2000/svg";

// Where a zone is touched on the claw at the right, in half claw lengths: 56 px apart at the width of a phone.
const SPOTS = {
    7: [0.3, 1.14], 1: [0.54, 0.75], 5: [0.4, 0.36], 2: [0.82, 0.44], 8: [1.08, 0.06], 3: [0.84, -0.3],
    4: [0.45, -0.16], 6: [0.52, -0.7], 9: [0.8, -1.16], 0: [0, 0.3], 10: [0, -1.0],
};
const BOX = { left: -1.28, right: 1.28, top: 1.36, bottom: -1.4 };

function sideOf(foot, claw) {
    return foot.startsWith("L") === (claw === "lateral") ? 1 : -1;
}

function shape(points, flip, kind) {
    const path = document.createElementNS(SVG, "polygon");
    path.setAttribute("points", points.map(([x, y]) => `${(x * flip).toFixed(3)},${(-y).toFixed(3)}`).join(" "));
    path.setAttribute("class", kind);
    return path;
}

// marks: places (claw, zone) where something was found; touched(claw, zone) when a part of the drawing is touched.
export function drawFoot(trade, foot, marks, touched) {
    const svg = document.createElementNS(SVG, "svg");
    svg.setAttribute("viewBox", `${BOX.left} ${-BOX.top} ${BOX.right - BOX.left} ${BOX.top - BOX.bottom}`);
    svg.setAttribute("aria-hidden", "true");
    for (const [zone, points] of Object.entries(trade.drawing)) {
        const shared = trade.shared.includes(Number(zone));
        for (const claw of shared ? [""] : Object.keys(trade.claws)) {
            const found = marks.some((mark) => mark.claw === claw && String(mark.zone) === zone);
            const part = shape(points, shared ? 1 : sideOf(foot, claw), found ? "zone found" : "zone");
            if (touched) part.addEventListener("click", () => touched(claw, Number(zone)));
            svg.append(part);
        }
    }
    return svg;
}

// Every place of a foot that can be touched: claw, zone, and where its button stands, in per cent of the drawing.
export function places(trade, foot) {
    const out = [];
    for (const claw of ["", ...Object.keys(trade.claws)]) {
        for (const zone of Object.keys(trade.zones).map(Number)) {
            if (trade.shared.includes(zone) !== (claw === "")) continue;
            const [x, y] = SPOTS[zone];
            const across = x * (claw ? sideOf(foot, claw) : 1);
            out.push({
                claw, zone, left: (100 * (across - BOX.left)) / (BOX.right - BOX.left),
                top: (100 * (BOX.top - y)) / (BOX.top - BOX.bottom),
            });
        }
    }
    return out;
}
