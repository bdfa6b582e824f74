"""Dots with their intervals on one scale, a row each, to stand in the last column of a table."""

from __future__ import annotations

from dataclasses import dataclass

from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.picture import FIRST, MUTED, RULE, SECOND, Picture, nice_top

WIDE, NARROW, EDGE = 130.0, 88.0, 11.0
"""Width of the column beside several others, and beside the drawn feet; room for the first and last number."""

ROW, EACH = 5.0, 5.4
"""Height of a row, and what each series adds to it."""
SHAPES = (("circle", FIRST), ("ring", SECOND), ("diamond", SECOND))
"""Marker and ink by the place of a series: told apart by shape and height, not by colour alone."""


@dataclass(frozen=True)
class Dot:
    """A share and its limits; *series* is its place among those shown together."""

    share: float
    low: float
    high: float
    series: int = 0


@dataclass(frozen=True)
class Scale:
    """The scale the rows of a table share."""

    top: float
    step: float
    width: float = WIDE

    def x(self, share: float) -> float:
        return EDGE + (self.width - 2 * EDGE) * min(share, self.top) / self.top

    def ticks(self) -> list[float]:
        return [self.step * place for place in range(round(self.top / self.step) + 1)]


def scale_of(highs: list[float], *, narrow: bool = False) -> Scale:
    """A scale that holds every upper limit."""
    top, step = nice_top(max([value for value in highs if value == value], default=0.1))
    return Scale(top, step, NARROW if narrow else WIDE)


def row_picture(dots: list[Dot], scale: Scale) -> str:
    """The dots of one row. The numbers stand beside it in the table, so it has no words of its own."""
    height = ROW + EACH * len(dots)
    picture = Picture(scale.width, height)
    for tick in scale.ticks():
        picture.line(scale.x(tick), 0, scale.x(tick), height, ink=RULE, wide=0.6)
    for dot in dots:
        if dot.share != dot.share:
            continue
        y = height / 2 + (dot.series - (len(dots) - 1) / 2) * EACH
        shape, ink = SHAPES[dot.series]
        picture.line(scale.x(dot.low), y, scale.x(dot.high), y, ink=ink, wide=1.3, dash="" if dot.series < 2 else "3 2")
        picture.mark(scale.x(dot.share), y, shape, size=2.6, ink=ink)
    return picture.svg(css="dots")


def axis_picture(scale: Scale, words: Words) -> str:
    """The scale written out, for the head of the column."""
    picture = Picture(scale.width, 13)
    digits = 0 if scale.step >= 0.01 else 1
    for tick in scale.ticks()[:: 2 if scale.width < WIDE else 1]:
        picture.text(scale.x(tick), 10, words.percent(tick, digits), size=8, ink=MUTED, at="middle")
    return picture.svg(css="dots")


def key_picture(names: list[str]) -> str:
    """What each marker stands for."""
    picture = Picture(sum(24 + 5.2 * len(name) for name in names), 14)
    x = 4.0
    for place, name in enumerate(names):
        shape, ink = SHAPES[place]
        picture.line(x - 4, 7, x + 10, 7, ink=ink, wide=1.3, dash="" if place < 2 else "3 2")
        picture.mark(x + 3, 7, shape, size=2.9, ink=ink)
        picture.text(x + 14, 10, name, size=9)
        x += 24 + 5.2 * len(name)
    return picture.svg(css="key")
