"""The foot, drawn: where on the four feet, or on the claws of all feet together, lesions are found."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import N_, say
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.claw import Key, zone_polygons
from evenfoot.dashboard.charts.frame import Drill, framed, nothing_to_show, records
from evenfoot.dashboard.charts.shades import colour_bar, colour_of, round_count, round_top
from evenfoot.dashboard.charts.theme import cases_of, estimate, percent, plural
from evenfoot.dashboard.charts.theme import number as number_words
from evenfoot.dashboard.charts.zone_marks import (
    ZoneLook,
    looked_at_by_foot,
    not_drawn,
    notes_on,
    paint,
    unplaced,
    words_of_feet,
    zone_rows,
)
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.i18n.translation import words as words_of

FROM_BELOW = say("Seen from below, toes up: her left feet are at the right of the picture.")
SHOWN = N_("tap or point at a zone for its {level} interval")

SMALL_NAME = 12
"""Letters of a foot's name for which four small feet in a row have room."""

WIDTH, HEIGHT = 2.34, 3.2
NARROW_HEIGHT = 3.5
"""Room of one foot with its words, in half claw lengths."""

WIDE_PIXELS = 1120
SMALL_PIXELS = 520
NARROW_PIXELS = 330
"""Width of the drawing on a laptop, as one of several beside each other, and on a phone."""

SMALL_TYPE = 9.5


def place_feet(narrow: bool) -> dict[str, tuple[float, float]]:
    """Middle of each foot: four in a row, or front above hind on a phone."""
    if narrow:
        return {"RF": (0, 0), "LF": (WIDTH, 0), "RH": (0, -NARROW_HEIGHT), "LH": (WIDTH, -NARROW_HEIGHT)}
    gap = 0.35
    return {"RF": (0, 0), "LF": (WIDTH, 0), "RH": (2 * WIDTH + gap, 0), "LH": (3 * WIDTH + gap, 0)}


def draw_feet(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
    highest: float | None = None,
    count: bool = False,
    heading: str = "",
) -> plain.Figure:
    """The four feet from below, every zone in the colour of its prevalence, or of its number of cases.

    Parameters
    ----------
    answer : Answer
        ``table`` with foot, claw, zone and cases, at_risk, prevalence, low, high; claw is missing for what
        both claws share (zones 0 and 10), as :func:`evenfoot.analytics.measures.lesions.foot_map.foot_map` gives it.
    theme, narrow, title, drill
        As in the other charts. ``drill`` is given foot, claw (``None`` where shared), zone and the figures.
    highest : float, optional
        Prevalence, or number of cases, at the top of the colour scale, to draw several pictures on one scale.
    count : bool
        Shade by the number of cases. Cases follow how many were looked at; the interval of the share is still told.
    heading : str
        What one of several small drawings is of; with it the drawing is half as wide on a laptop.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
        Hover and click points lie invisibly inside every zone.
    """
    title = _("Where on the feet") if title is None else title
    found = zone_rows(answer)
    if answer.empty or not found:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    top = highest or common_top(answer, count=count)
    places = place_feet(narrow)
    looked_at = looked_at_by_foot(found)
    if "looked_at" in answer.extra:
        looked_at |= {str(row["foot"]): float(row["at_risk"]) for row in records(answer.extra["looked_at"])}
    looks = zone_looks(found, tuple(zone_polygons()), top, answer.basis.unit, theme, drill, count=count, seen=looked_at)
    pixels = pixels_of(places, narrow, small=bool(heading))
    size = 10.5 if narrow else SMALL_TYPE if heading else 12
    traces = paint(places, looks, theme=theme, type_size=size, pixels=pixels)
    most = SMALL_NAME if heading and not narrow else 99
    names = words_of_feet(places, theme, narrow or bool(heading), most=most)
    units = plural(answer.basis.unit, 2)
    said = _("Number of {units} with it", units=units) if count else _("Share of {units}", units=units)
    bar = colour_bar(top, theme, narrow or bool(heading), said, count=count)
    figure = plain.Figure([*traces, names, bar])
    if heading:
        return finish_feet(figure, answer, places, title=title, theme=theme, narrow=narrow, notes=[heading], small=True)
    pointing = [] if title else [_("Tap or point at a zone for its interval.")]
    notes = [told(FROM_BELOW), *notes_on(looks), *not_drawn(answer), *unplaced(answer), *pointing]
    return finish_feet(figure, answer, places, title=title, theme=theme, narrow=narrow, notes=notes)


def zone_looks(
    found: Mapping[Key, dict[str, Any]],
    keys: tuple[Key, ...],
    top: float,
    unit: str,
    theme: str,
    drill: Drill | None,
    *,
    numbers: bool = False,
    count: bool = False,
    seen: Mapping[str, float] | None = None,
) -> dict[Key, ZoneLook]:
    """How each zone looks: its prevalence, none recorded, or nothing known of the foot."""
    looked_at = looked_at_by_foot(found) if seen is None else seen
    out: dict[Key, ZoneLook] = {}
    for key in keys:
        foot, claw, zone = key
        row = found.get(key)
        carried = drill({**(row or {}), "foot": foot, "claw": claw, "zone": zone}) if drill else None
        number = f"<b>{zone}</b>" if numbers else ""
        if row is not None:
            figures = estimate(row["cases"], row["at_risk"], row["low"], row["high"], unit)
            label = (
                f"{number}<br>{percent(row['prevalence'])}"
                if numbers
                else words_of().number(100 * row["prevalence"], 1)
            )
            label = number_words(row["cases"]) if count else label
            colour = colour_of(row["cases" if count else "prevalence"], top, theme)
            out[key] = ZoneLook(figures, colour, label=label, carried=carried)
        elif foot in looked_at:
            figures = _("none recorded: {figures}", figures=cases_of(0, looked_at[foot], unit))
            out[key] = ZoneLook(figures, kind="none", label=number, carried=carried)
        else:
            figures = _("nothing recorded on this foot")
            out[key] = ZoneLook(figures, kind="unknown", label=number, carried=carried)
    return out


def common_top(*answers: Answer, count: bool = False) -> float:
    """The end of one colour scale for several drawings."""
    column = "cases" if count else "prevalence"
    highest = max((row[column] for answer in answers for row in zone_rows(answer).values()), default=0.0)
    return round_count(highest) if count else round_top(highest)


def pixels_of(places: Mapping[str, tuple[float, float]], narrow: bool, *, small: bool = False) -> float:
    """Pixels of half a claw length where the feet lie so."""
    xs = [x for x, _y in places.values()]
    return (NARROW_PIXELS if narrow else SMALL_PIXELS if small else WIDE_PIXELS) / (max(xs) - min(xs) + WIDTH)


def finish_feet(
    figure: plain.Figure,
    answer: Answer,
    places: Mapping[str, tuple[float, float]],
    *,
    title: str,
    theme: str,
    narrow: bool,
    notes: list[str],
    small: bool = False,
) -> plain.Figure:
    """Axes, frame and height of a drawing of four feet."""
    xs, ys = zip(*places.values(), strict=True)
    down = max(ys) - min(ys) + HEIGHT + 0.1
    figure.update_xaxes(visible=False, range=[min(xs) - WIDTH / 2, max(xs) + WIDTH / 2], fixedrange=True)
    figure.update_yaxes(
        visible=False,
        range=[min(ys) - 1.74, max(ys) + HEIGHT - 1.64],
        fixedrange=True,
        scaleanchor="x",
        scaleratio=1,
    )
    height = math.ceil(down * pixels_of(places, narrow, small=small))
    notes = [" ".join(notes)]
    framed(figure, answer, title=title, theme=theme, narrow=narrow, height=height, notes=notes, shown=SHOWN)
    figure.update_layout(margin={"l": 6, "r": 6, "b": 64}, hoverdistance=24, height=figure.layout.height + 20)
    return figure
