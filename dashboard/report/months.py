"""Shares month by month: lines with the interval of every month, and the limits of a control chart."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from evenfoot.analytics.messages import say
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.picture import FIRST, MUTED, RULE, SECOND, Picture, nice_top

WIDTH = 520.0
TALL, LOW = 155.0, 120.0
"""Height of lines that carry intervals, and of a control chart."""

LEFT, RIGHT, TOP, BOTTOM = 34.0, 100.0, 10.0, 30.0
STYLES = (("circle", FIRST, ""), ("ring", SECOND, "4 2.5"))


@dataclass(frozen=True)
class Line:
    """One line: its name at the end of it, and month, share, low, high in the columns named."""

    name: str
    share: str
    low: str = ""
    high: str = ""


def months_picture(
    table: pd.DataFrame, lines: list[Line], words: Words, told: str, *, limits: bool = False, marked: str = ""
) -> str:
    """Lines over the months of ``month``.

    Parameters
    ----------
    table : pandas.DataFrame
        ``month`` and the columns the lines name; with *limits* also centre, lower and upper; with *marked* a column
        of words that is empty where a month has no signal.
    told : str
        The picture in words.
    """
    height = LOW if limits else TALL
    picture = Picture(WIDTH, height, told)
    months = pd.to_datetime(table["month"])
    first = months.min()
    place = (months.dt.year - first.year) * 12 + months.dt.month - first.month
    last = max(int(place.max()), 1)
    tall = [table[line.high or line.share].max() for line in lines] + ([table["upper"].max()] if limits else [])
    top, step = nice_top(max([value for value in tall if math.isfinite(value)], default=0.1))

    def x(month: float) -> float:
        return LEFT + 8 + (WIDTH - LEFT - RIGHT - 16) * month / last

    def y(share: float) -> float:
        return height - BOTTOM - (height - TOP - BOTTOM) * min(max(share, 0.0), top) / top

    for tick in range(round(top / step) + 1):
        picture.line(LEFT, y(tick * step), WIDTH - RIGHT, y(tick * step), ink=RULE, wide=0.6)
        said = words.percent(tick * step, 0 if step >= 0.01 else 1)
        picture.text(LEFT - 4, y(tick * step) + 3, said, size=8.5, at="end")
    ends: list[float] = []
    _months_written(picture, height - BOTTOM, first, last, x, words)
    if limits:
        for name, dash in (("centre", ""), ("lower", "2 2"), ("upper", "2 2")):
            points = [(x(m), y(v)) for m, v in zip(place, table[name], strict=True) if math.isfinite(v)]
            picture.path(points, ink=MUTED, wide=0.9, dash=dash)
        for name, said in (("upper", say("upper limit")), ("lower", say("lower limit"))):
            ends.append(y(table[name].iloc[-1]) + 3)
            picture.text(WIDTH - RIGHT + 6, ends[-1], words(said), size=8)
    for line, (shape, ink, dash) in zip(lines, STYLES, strict=False):
        rows = [
            (x(m), row)
            for m, row in zip(place, table.to_dict("records"), strict=True)
            if math.isfinite(row[line.share])
        ]
        if line.low:
            for at, row in rows:
                picture.line(at, y(row[line.low]), at, y(row[line.high]), ink=ink, wide=1.0)
        picture.path([(at, y(row[line.share])) for at, row in rows], ink=ink, wide=1.5, dash=dash)
        for at, row in rows:
            loud = bool(marked and row[marked])
            picture.mark(at, y(row[line.share]), "diamond" if loud else shape, size=4.4 if loud else 2.7, ink=ink)
        if rows:
            end = y(rows[-1][1][line.share]) + 3
            while any(abs(end - other) < 10 for other in ends):
                end += 5
            ends.append(end)
            picture.text(WIDTH - RIGHT + 6, end, line.name, size=9, ink=ink, bold=True)
    return picture.svg(css="months")


def _months_written(
    picture: Picture, floor: float, first: pd.Timestamp, last: int, x: Callable[[float], float], words: Words
) -> None:
    """Names of months under the axis, as many as fit, with the year where it begins."""
    every = math.ceil((last + 1) / 13)
    for month in range(0, last + 1, every):
        day = first + pd.DateOffset(months=month)
        at = x(month)
        picture.line(at, floor, at, floor + 3, ink=MUTED, wide=0.7)
        picture.text(at, floor + 13, words.month(day, short=True), size=8.5, at="middle")
        if month == 0 or day.month <= every:
            picture.text(at, floor + 24, str(day.year), size=8.5, at="middle")
