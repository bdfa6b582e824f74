"""The marks a drawn foot is made of: filled zones, their figures, outlines, words and the colour scale.

A phone draws few marks quickly and many slowly, so what looks alike is one trace with gaps, and words are one trace.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.feet import CLAW_NAMES, FOOT_NAMES
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.queries.filters import NOT_RECORDED
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.claw import (
    DRAWN_ZONES,
    SHARED_ZONES,
    Key,
    Points,
    claw_outline,
    dewclaws,
    discs,
    label_spot,
    side_of,
    zone_polygons,
)
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import zone_label
from evenfoot.dashboard.charts.shades import ink_on
from evenfoot.dashboard.charts.theme import cases_of, number, plural, rgba, tokens
from evenfoot.dashboard.i18n.translation import _, _n, told

LETTER = (0.53, 1.25)
"""Width and height of a letter as a share of the type size."""


@dataclass(frozen=True)
class ZoneLook:
    """How one zone is drawn.

    Attributes
    ----------
    figures : str
        What is said on pointing at it, after its place.
    colour : str, optional
        Its fill; without one it is drawn as ``kind`` says.
    kind : {"none", "unknown", "left out", "unclear"}
        Pale: none recorded. Hatched: nothing recorded on that foot, or not counted. Dotted: no clear difference.
    stripes : str
        A pattern over the fill, as a second sign beside its colour.
    label : str
        Written inside where there is room; lines between ``<br>``.
    carried : dict, optional
        What a click on it carries.
    """

    figures: str
    colour: str | None = None
    kind: str = "none"
    stripes: str = ""
    label: str = ""
    carried: dict[str, Any] | None = None


PATTERNS = {"unknown": "/", "left out": "/", "unclear": "."}


def paint(
    places: Mapping[str, tuple[float, float]],
    looks: Mapping[Key, ZoneLook],
    *,
    theme: str,
    type_size: float,
    pixels: float,
    named: bool = True,
) -> list[plain.Part]:
    """Traces of the zones: fills, outlines, figures, and what answers to the pointer.

    Parameters
    ----------
    places : mapping
        Middle of each foot.
    looks : mapping
        How each zone is drawn.
    type_size, pixels : float
        Size of the figures in the zones, and pixels of half a claw length, by which it is known what fits.
    named : bool
        Whether places are said with their foot.
    """
    labels: list[dict[str, Any]] = []
    pale: dict[str, list[Line]] = {}
    fills: dict[tuple[str, str], list[Line]] = {}
    shown = {key: looks[key] for key in zone_polygons() if key in looks}
    for key, look in shown.items():
        line = _zone_at(key, places[key[0]])
        if look.colour is None:
            pale.setdefault(look.kind, []).append(line)
        else:
            fills.setdefault((look.colour, look.stripes), []).append(line)
        label = _label(key, places[key[0]], look, theme, type_size, pixels)
        if label is not None:
            labels.append(label)
    return [
        *(_alike(kind, lines, theme) for kind, lines in pale.items()),
        *(_filled(lines, colour, stripes, theme) for (colour, stripes), lines in fills.items()),
        *_outlines(places, theme),
        written(labels),
        _hit_points(places, shown, pixels, named),
    ]


Line = tuple[list[float | None], list[float | None]]
"""A closed outline as a trace has it, x and y, with a gap at its end."""


def _joined(outlines: Iterable[Points]) -> Line:
    """Closed outlines one after the other, with a gap after each, to a tenth of a pixel."""
    gap = np.array([[np.nan, np.nan]])
    line = np.round(np.vstack([piece for line in outlines for piece in (line, line[:1], gap)]), 3)
    return plain.plain(line[:, 0]), plain.plain(line[:, 1])


@functools.lru_cache(maxsize=1024)
def _zone_at(key: Key, at: tuple[float, float]) -> Line:
    """A zone of a foot at its place: the same in every drawing of that size."""
    return _joined([zone_polygons()[key] + np.array(at)])


def _together(lines: Iterable[Line]) -> Line:
    x: list[float | None] = []
    y: list[float | None] = []
    for one in lines:
        x += one[0]
        y += one[1]
    return x, y


def _filled(lines: list[Line], colour: str, stripes: str, theme: str) -> plain.Part:
    x, y = _together(lines)
    return plain.scatter(
        x=x,
        y=y,
        mode="lines",
        fill="toself",
        fillcolor=colour,
        fillpattern=_pattern(stripes, colour, rgba(tokens(theme).raised, 0.55)) if stripes else None,
        line={"color": tokens(theme).raised, "width": 1},
        hoverinfo="skip",
    )


def _alike(kind: str, lines: list[Line], theme: str) -> plain.Part:
    """Zones that look the same, as one trace."""
    t = tokens(theme)
    x, y = _together(lines)
    shape = PATTERNS.get(kind)
    return plain.scatter(
        x=x,
        y=y,
        mode="lines",
        fill="toself",
        fillcolor=t.faint,
        fillpattern=_pattern(shape, t.faint, rgba(t.muted, 0.6)) if shape else None,
        line={"color": t.muted, "width": 0.7},
        hoverinfo="skip",
    )


def _pattern(shape: str, under: str, over: str) -> dict[str, Any]:
    return {"shape": shape, "size": 7, "solidity": 0.16, "fgcolor": over, "bgcolor": under}


def _label(
    key: Key, at: tuple[float, float], look: ZoneLook, theme: str, type_size: float, pixels: float
) -> dict[str, Any] | None:
    """The figure inside its zone, where there is room for it."""
    lines = look.label.replace("<b>", "").replace("</b>", "").split("<br>")
    width = (max(len(line) for line in lines) * LETTER[0] + 0.3) * type_size / pixels
    spot = label_spot(key, round(width, 2), round(len(lines) * LETTER[1] * type_size / pixels, 2))
    text = look.label
    if spot is None and len(lines) > 1:
        text = look.label.split("<br>")[0]
        width = (len(lines[0]) * LETTER[0] + 0.1) * type_size / pixels
        spot = label_spot(key, round(width, 2), round(type_size / pixels, 2))
    if spot is None or not text:
        return None
    return {
        "x": round(spot[0] + at[0], 3),
        "y": round(spot[1] + at[1], 3),
        "text": text,
        "size": type_size,
        "colour": ink_on(look.colour) if look.colour else tokens(theme).muted,
    }


def written(words: list[dict[str, Any]]) -> plain.Part:
    """Words that stand on a drawing, as one trace: x, y, text, size and colour of each."""
    return plain.scatter(
        x=[word["x"] for word in words],
        y=[word["y"] for word in words],
        text=[word["text"] for word in words],
        textfont={"size": [word["size"] for word in words], "color": [word["colour"] for word in words]},
        mode="text",
        cliponaxis=False,
        hoverinfo="skip",
    )


@functools.lru_cache(maxsize=32)
def _discs_at(
    places: tuple[tuple[str, tuple[float, float]], ...], shown: tuple[Key, ...], pixels: float
) -> tuple[list[float], list[float], list[int]]:
    """x, y and width in pixels of the discs in all zones."""
    at = dict(places)
    found = np.vstack([discs(key) + np.array([*at[key[0]], 0.0]) for key in shown])
    sizes = np.maximum(2 * found[:, 2] * pixels, 2).round().astype(int)
    return np.round(found[:, 0], 3).tolist(), np.round(found[:, 1], 3).tolist(), sizes.tolist()


def _hit_points(
    places: Mapping[str, tuple[float, float]], shown: Mapping[Key, ZoneLook], pixels: float, named: bool
) -> plain.Part:
    """Invisible discs that answer to the pointer and the finger nearly anywhere in a zone.

    Pointing is decided by the nearest disc's edge, so discs that stay inside their zones tell them apart.
    """
    x, y, sizes = _discs_at(tuple(places.items()), tuple(shown), pixels)
    said = {
        key: (f"<b>{place_words(*key, named=named)}</b><br>{look.figures}", look.carried) for key, look in shown.items()
    }
    each = [said[key] for key in shown for _disc in discs(key)]
    return plain.scatter(
        x=x,
        y=y,
        mode="markers",
        marker={"size": sizes, "opacity": 0},
        hovertext=[text for text, _carried in each],
        hovertemplate="%{hovertext}<extra></extra>",
        customdata=[carried for _text, carried in each] if any(carried for _text, carried in each) else None,
    )


def notes_on(looks: Mapping[Key, ZoneLook]) -> list[str]:
    """What the pale and patterned zones mean, for those that occur."""
    words = {
        "none": _("Pale: none recorded."),
        "unknown": _("Hatched: nothing recorded on that foot."),
        "left out": _("Hatched: not in these figures."),
        "unclear": _("Dotted: no clear difference, the interval includes 0."),
    }
    kinds = {look.kind for look in looks.values() if look.colour is None}
    return [text for kind, text in words.items() if kind in kinds]


def not_drawn(answer: Answer) -> list[str]:
    """Cases in zones that are not on the drawing."""
    zones = pd.to_numeric(answer.table["zone"], errors="coerce")
    elsewhere = int(answer.table.loc[~zones.isin(DRAWN_ZONES), "cases"].sum())
    return (
        [
            _n(
                "{n} case in other zones is in the table only.",
                "{n} cases in other zones are in the table only.",
                elsewhere,
            )
        ]
        if elsewhere
        else []
    )


def unplaced(answer: Answer) -> list[str]:
    """Cases whose finding does not say its foot, or not its claw and zone, and that are not drawn."""
    rows = answer.extra.get("unplaced")
    if rows is None or rows.empty:
        return []
    nowhere = rows["foot"] == str(NOT_RECORDED)
    unit = answer.basis.unit
    out = [
        _("Not drawn, as the foot is not recorded: {cases}.", cases=cases_of(row["cases"], row["at_risk"], unit))
        for row in records(rows[nowhere].sort_values("cases", ascending=False).head(1))
    ]
    feet = rows[~nowhere].groupby("foot", as_index=False)[["cases"]].max()
    if len(feet):
        each = ", ".join(f"{row['foot']} {number(row['cases'])}" for row in records(feet))
        out.append(
            _("Not drawn, as claw or zone is not recorded, in {units}: {feet}.", units=plural(unit, 2), feet=each)
        )
    return out


def zone_rows(answer: Answer, foot: str | None = None) -> dict[Key, dict[str, Any]]:
    """The row of the table that each polygon shows.

    Where a table gives a zone that both claws share claw by claw, the claw with more cases is shown: a lower
    bound of the foot, since cows cannot be added up over claws. *foot* stands in where the table has no feet.
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
        key = (foot or str(row["foot"]), claw, int(zone))
        if key not in out or row["cases"] > out[key]["cases"]:
            out[key] = {**row, "claw": claw, "zone": int(zone)}
    return out


def place_words(foot: str, claw: str | None, zone: int, *, named: bool = True) -> str:
    """A place on the foot in words.

    Examples
    --------
    >>> place_words("LH", "lateral", 6)
    'LH outer claw, zone 6, bulb of the heel'
    """
    where = [foot] if named else []
    where += [_(f"{CLAW_NAMES[claw]} claw")] if claw else []
    return ", ".join([" ".join(where), zone_label(zone)] if where else [zone_label(zone)])


def looked_at_by_foot(found: Mapping[Key, dict[str, Any]]) -> dict[str, float]:
    """How many were looked at on each foot, from any place on it with a row."""
    out: dict[str, float] = {}
    for (foot, _claw, _zone), row in found.items():
        out[foot] = max(out.get(foot, 0.0), row["at_risk"])
    return out


def _outlines(places: Mapping[str, tuple[float, float]], theme: str) -> list[plain.Part]:
    """The outlines of the claws, and the dewclaws."""
    t = tokens(theme)
    claws, behind = _lines_at(tuple(places.items()))
    return [_stroke(claws, t.ink, 1.4), _stroke(behind, t.rule, 1.2)]


@functools.lru_cache(maxsize=32)
def _lines_at(places: tuple[tuple[str, tuple[float, float]], ...]) -> tuple[Line, Line]:
    flips = [(at, np.array([float(side_of(foot, claw)), 1.0])) for foot, at in places for claw in CLAW_NAMES]
    claws = [claw_outline(12) * flip + np.array(at) for at, flip in flips]
    return _joined(claws), _joined([line + np.array(at) for _foot, at in places for line in dewclaws()])


def words_of_feet(places: Mapping[str, tuple[float, float]], theme: str, narrow: bool, *, most: int = 99) -> plain.Part:
    """Which foot is which, and which claw is the outer one; a name of more than *most* letters is left to its code."""
    t = tokens(theme)
    words: list[dict[str, Any]] = []
    for foot, at in places.items():
        name, code = _(FOOT_NAMES[foot]), told(foot)
        words.append(
            {
                "x": at[0],
                "y": at[1] + (1.45 if narrow else 1.40),
                "text": f"<b>{code}</b> {name}" if len(name) <= most else f"<b>{code}</b>",
                "size": 12.5 if narrow else 14,
                "colour": t.ink,
            }
        )
        words += [
            {
                "x": at[0] + side_of(foot, claw) * 0.55,
                "y": at[1] + 1.18,
                "text": _(word),
                "size": 11 if narrow else 12,
                "colour": t.muted,
            }
            for claw, word in CLAW_NAMES.items()
        ]
    return written(words)


def _stroke(line: Line, colour: str, width: float) -> plain.Part:
    return plain.scatter(x=line[0], y=line[1], mode="lines", line={"color": colour, "width": width}, hoverinfo="skip")
