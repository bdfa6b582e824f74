"""The four feet from below, each zone shaded by the share of cows with a lesion in it and numbered with the cows."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.dashboard.charts.claw import Key, dewclaws, label_spot, zone_polygons
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.picture import INK, MUTED, Picture, nice_top

HALF = 60.0
"""Points of the drawing to half a claw's length."""

WIDE, HIGH = 165.0, 185.0
FEET_AT = {"RF": (0, 0), "LF": (1, 0), "RH": (0, 1), "LH": (1, 1)}
"""Column and row: seen from below with the toes up, left feet are at the right."""

LABEL = (0.15, 0.13)


def feet_picture(zones: pd.DataFrame, words: Words, told: str) -> str:
    """Draw the feet.

    Parameters
    ----------
    zones : pandas.DataFrame
        foot, claw (missing between the claws), zone, cases, prevalence.
    told : str
        The picture in words.
    """
    picture = Picture(2 * WIDE, 2 * HIGH + 34, told)
    shares = {_key(row): (row["prevalence"], int(row["cases"])) for row in zones.to_dict("records")}
    top, step = nice_top(max((share for share, _ in shares.values()), default=0.02))
    for foot, (column, row) in FEET_AT.items():
        middle = ((column + 0.5) * WIDE, row * HIGH + 84.0)
        for claw in dewclaws():
            picture.area(_at(claw, middle), fill="#FFFFFF", ink=MUTED, wide=0.5)
        picture.text(middle[0], row * HIGH + 12, words.foot(foot), size=10, ink=INK, at="middle", bold=True)
        outer = 1 if foot.startswith("L") else -1
        for side, name in ((outer, "outer"), (-outer, "inner")):
            picture.text(middle[0] + side * 44, row * HIGH + 22, words(name), size=8, at="middle")
        labels = []
        for key, outline in zone_polygons().items():
            if key[0] != foot:
                continue
            share, cows = shares.get(key, (0.0, 0))
            fill = shade(share / top) if cows else "#FFFFFF"
            picture.area(_at(outline, middle), fill=fill, ink=MUTED, wide=0.5)
            if cows:
                labels.append((key, cows, share / top))
        for key, cows, part in labels:
            _number(picture, key, cows, part, middle, words)
    _scale(picture, top, step, words)
    return picture.svg(css="feet")


def _key(row: dict[Any, Any]) -> Key:
    claw = row["claw"]
    return (str(row["foot"]), claw if isinstance(claw, str) else None, int(str(row["zone"])))


def _at(points: np.ndarray, middle: tuple[float, float]) -> list[tuple[float, float]]:
    return [(middle[0] + HALF * x, middle[1] - HALF * y) for x, y in points]


def _number(picture: Picture, key: Key, cows: int, part: float, middle: tuple[float, float], words: Words) -> None:
    """How many cows, in the roomiest spot of the zone; thin zones carry it at their middle on a white ground."""
    said = words.number(cows)
    spot = label_spot(key, LABEL[0] * max(len(said), 1), LABEL[1])
    ink = "#FFFFFF" if part > 0.55 else INK
    if spot is None:
        outline = zone_polygons()[key]
        x, y = outline.mean(axis=0)
        near = outline[int(np.argmin(np.hypot(*(outline - (x, y)).T)))]
        x, y = (0.5 * x + 0.5 * near[0], 0.5 * y + 0.5 * near[1])
        at = (middle[0] + HALF * x, middle[1] - HALF * y)
        wide = 2.7 * len(said) + 1.5
        picture.area(
            [(at[0] + dx * wide, at[1] + dy * 4.6) for dx, dy in ((-1, -1), (1, -1), (1, 1), (-1, 1))],
            fill="#FFFFFF",
            ink=MUTED,
            wide=0.4,
        )
        ink = INK
    else:
        at = (middle[0] + HALF * spot[0], middle[1] - HALF * spot[1])
    picture.text(at[0], at[1] + 2.9, said, size=8, ink=ink, at="middle")


def shade(part: float) -> str:
    """The colour of a part (0 to 1) of the scale: pale to dark, in order in grey print too.

    Examples
    --------
    >>> shade(0.0) > shade(1.0)
    True
    """
    from plotly.colors import sample_colorscale

    # The palest tenth of the scale is left out so that the least found is seen against white.
    red, green, blue = sample_colorscale("Cividis_r", 0.08 + 0.92 * min(max(part, 0.0), 1.0), colortype="tuple")[0]
    return "#" + "".join(f"{round(255 * value):02X}" for value in (red, green, blue))


def _scale(picture: Picture, top: float, step: float, words: Words) -> None:
    left, wide, y = 20.0, 2 * WIDE - 40, 2 * HIGH + 6
    for place in range(40):
        at = left + wide * place / 40
        box = [(at, y), (at + wide / 40 + 0.4, y), (at + wide / 40 + 0.4, y + 8), (at, y + 8)]
        picture.area(box, fill=shade((place + 0.5) / 40))
    for tick in range(round(top / step) + 1):
        said = words.percent(tick * step, 0 if math.isclose(step * 100 % 1, 0, abs_tol=1e-9) else 1)
        picture.text(left + wide * tick * step / top, y + 18, said, size=8.5, at="middle")
