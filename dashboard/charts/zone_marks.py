def zone_rows(answer: Answer) -> dict[Key, dict[str, Any]]:
    """The row of the table that each polygon shows.

    Where a table gives a zone that both claws share claw by claw, the claw with more cases is shown: a lower
    bound of the foot, since cows cannot be added up over claws.
    """
    out: dict[Key, dict[str, Any]] = {}
    for row in records(answer.table):
        zone = row.get("zone")
        if zone is None or pd.isna(zone) or int(zone) not in DRAWN_ZONES or not row["at_risk"]:
            continue
        shared = int(zone) in SHARED_ZONES
        claw = None if shared or pd.isna(row.get("claw")) else str(row["claw"])
        if claw is None and not shared:
            continue
        key = (str(row["foot"]), claw, int(zone))
        if key not in out or row["cases"] > out[key]["cases"]:
            out[key] = {**row, "claw": claw, "zone": int(zone)}
    return out


def colour_of(prevalence: float, top: float, theme: str = "paper") -> str:
    """The colour of a prevalence on a scale from 0 to *top*."""
    return str(sample_colorscale(scale(theme), [min(1.0, max(0.0, prevalence / top))])[0])


def place_words(foot: str, claw: str | None, zone: int) -> str:
    """A place on the foot in words.

    Examples
    --------
    >>> place_words("LH", "lateral", 6)
    'LH outer claw, zone 6, bulb of the heel'
    """
    where = f"{foot} {CLAW_NAMES[claw]} claw" if claw else foot
    return f"{where}, {zonezone_label_in(zone)}"


class AlikeZones:
    """Polygons that look alike, drawn as one trace."""

    def __init__(self) -> None:
        self.kept: dict[str, list[Points]] = {}

    def add(self, kind: str, polygon: Points) -> None:
        self.kept.setdefault(kind, []).append(polygon)

    def traces(self, theme: str) -> Iterator[go.Scatter]:
        t = tokens(theme)
        gap = np.array([[np.nan, np.nan]])
        for kind, polygons in self.kept.items():
            line = np.vstack([piece for p in polygons for piece in (p, p[:1], gap)])
            pattern = {"shape": "/", "size": 6, "solidity": 0.18, "fgcolor": t.muted, "bgcolor": t.faint}
            yield go.Scatter(
                x=line[:, 0].astype(np.float32),
                y=line[:, 1].astype(np.float32),
                mode="lines",
                fill="toself",
                fillcolor=t.faint,
                fillpattern=pattern if kind == "unknown" else None,
                line={"color": t.muted, "width": 0.7},
                hoverinfo="skip",
            )

    def notes(self) -> list[str]:
        out = []
        if "none" in self.kept:
            out.append(str(say("Pale: none recorded.")))
        if "unknown" in self.kept:
            out.append(str(say("Hatched: nothing recorded on that foot.")))
        return out


def looked_at_by_foot(found: Mapping[Key, dict[str, Any]]) -> dict[str, float]:
    """How many were looked at on each foot, from any place on it with a row."""
    out: dict[str, float] = {}
    for (foot, _, _), row in found.items():
        out[foot] = max(out.get(foot, 0.0), row["at_risk"])
    return out


def filled(polygon: Points, colour: str, theme: str) -> go.Scatter:
    line = np.vstack([polygon, polygon[:1]]).astype(np.float32)
    return go.Scatter(
        x=line[:, 0],
        y=line[:, 1],
        mode="lines",
        fill="toself",
        fillcolor=colour,
        line={"color": tokens(theme).raised, "width": 1},
        hoverinfo="skip",
    )


def zone_label_in(
    key: Key, at: tuple[float, float], prevalence: float, top: float, theme: str, narrow: bool
) -> dict[str, Any] | None:
    """The figure inside its zone, where there is room for it."""
    spot = label_spot(key, *(NARROW_LABEL if narrow else LABEL))
    if spot is None:
        return None
    return {
        "x": round(spot[0] + at[0], 3),
        "y": round(spot[1] + at[1], 3),
        "text": f"{100 * prevalence:.1f}",
        "showarrow": False,
        "font": {"size": 10.5 if narrow else 12, "color": ink_on(prevalence, top, theme)},
    }


def ink_on(prevalence: float, top: float, theme: str) -> str:
    """Black or white, whichever stands out more on the colour of a prevalence."""
    red, green, blue = unlabel_rgb(colour_of(prevalence, top, theme))
    return "#111111" if 0.299 * red + 0.587 * green + 0.114 * blue > 126 else "#FFFFFF"


def hit_points(
    key: Key,
    at: tuple[float, float],
    row: dict[str, Any] | None,
    looked_at: float | None,
    unit: str,
    drill: Drill | None,
) -> go.Scatter:
    """Invisible points that answer to the pointer and the finger anywhere in the zone."""
    foot, claw, zone = key
    points = (spots(key, SPACING) + np.array(at)).astype(np.float32)
    if row is not None:
        figures = estimate(row["cases"], row["at_risk"], row["low"], row["high"], unit)
    elif looked_at:
        figures = str(say("none recorded: {figures}", figures=cases_of(0, looked_at, unit)))
    else:
        figures = str(say("nothing recorded on this foot"))
    carried = drill({"foot": foot, "claw": claw, "zone": zone, **(row or {})}) if drill else None
    return go.Scatter(
        x=points[:, 0],
        y=points[:, 1],
        mode="markers",
        marker={"size": 16, "opacity": 0},
        hovertemplate=f"<b>{place_words(foot, claw, zone)}</b><br>{figures}<extra></extra>",
        customdata=[carried] * len(points) if carried is not None else None,
    )


def lines_of_foot(foot: str, at: tuple[float, float], theme: str) -> list[go.Scatter]:
    """The outlines of both claws, and the dewclaws."""
    t = tokens(theme)
    out = []
    for claw in CLAW_NAMES:
        line = claw_outline(12) * np.array([float(side_of(foot, claw)), 1.0])
        out.append(stroke(line + np.array(at), t.ink, 1.4))
    return out + [stroke(line + np.array(at), t.muted, 0.8, t.faint) for line in dewclaws()]


def words_of_foot(foot: str, at: tuple[float, float], theme: str, narrow: bool) -> list[dict[str, Any]]:
    """Which foot it is, and which claw is the outer one."""
    t = tokens(theme)
    name = {
        "x": at[0],
        "y": at[1] + (1.45 if narrow else 1.40),
        "text": f"<b>{foot}</b> {FOOT_NAMES[foot]}",
        "showarrow": False,
        "font": {"size": 12.5 if narrow else 14, "color": t.ink},
    }
    return [name] + [
        {
            "x": at[0] + side_of(foot, claw) * 0.55,
            "y": at[1] + 1.18,
            "text": word,
            "showarrow": False,
            "font": {"size": 11 if narrow else 12, "color": t.muted},
        }
        for claw, word in CLAW_NAMES.items()
    ]


def stroke(line: Points, colour: str, width: float, fill: str | None = None) -> go.Scatter:
    line = np.vstack([line, line[:1]]).astype(np.float32)
    return go.Scatter(
        x=line[:, 0],
        y=line[:, 1],
        mode="lines",
        line={"color": colour, "width": width},
        fill="toself" if fill else "none",
        fillcolor=fill,
        hoverinfo="skip",
    )


def colour_bar(top: float, theme: str, narrow: bool, words: str) -> go.Scatter:
    """The colour scale with its unit, carried by a point that is not drawn."""
    t = tokens(theme)
    ticks = np.linspace(0, top, 3 if narrow else 5)
    bar = {
        "orientation": "h",
        "thickness": 10,
        "len": 0.9 if narrow else 0.4,
        "x": 0.5,
        "xanchor": "center",
        "y": 0,
        "yanchor": "top",
        "ypad": 4,
        "outlinewidth": 0,
        "tickvals": ticks,
        "ticktext": [percent(value, 0 if top >= 0.1 and (top * 25) % 1 < 1e-9 else 1) for value in ticks],
        "tickfont": {"size": 11.5, "color": t.muted},
        "title": {"text": words, "side": "top", "font": {"size": 12, "color": t.muted}},
    }
    return go.Scatter(
        x=[None],
        y=[None],
        mode="markers",
        marker={
            "color": [0],
            "cmin": 0,
            "cmax": top,
            "colorscale": scale(theme),
            "showscale": True,
            "colorbar": bar,
        },
        hoverinfo="skip",
    )


def round_top(highest: float) -> float:
    """The end of the colour scale: the next even percentage that splits into four."""
    steps = (0.01, 0.02, 0.04, 0.08, 0.12, 0.16, 0.2, 0.24, 0.32, 0.4, 0.48, 0.6, 0.8, 1.0)
    return next((step for step in steps if highest <= step), 1.0)


