"""The outline of a claw seen from below, and its numbered zones as polygons.

One claw is drawn, the right one of the picture, as a closed path of cubic Bezier curves: round bulb at the
heel, full outer wall, hollow inner side, toe turned in a little. Every other claw is its mirror image or a
copy. Around a point in the middle of the sole the outline can be seen whole from everywhere, so any line
inside it is a distance along a ray; neighbouring zones are cut by the same sampled lines and therefore
share their edges exactly.

The numbers of the zones are the trade's foot map [pub: Shearer and co-authors' extension articles]; the
shapes are ours. Lengths are in half claw lengths, the toe is up, and x = 0 is the middle of the foot.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from evenfoot.analytics.domain.feet import CLAWS, FEET

Points = NDArray[np.float64]
Key = tuple[str, str | None, int]

SHARED_ZONES = (0, 10)
"""Zones of the foot rather than of one of its claws."""

DRAWN_ZONES = tuple(range(11))

MIDDLE = np.array([0.44, -0.12])
"""The point of the sole from which the whole outline is seen."""

# Start, then (handle, handle, end) of each curve, from the tip of the toe outward round the heel.
_START = (0.27, 1.05)
_CURVES = (
    ((0.46, 1.05), (0.69, 0.82), (0.83, 0.50)),
    ((0.94, 0.24), (0.99, -0.04), (0.99, -0.32)),
    ((0.99, -0.60), (0.95, -0.83), (0.83, -0.96)),
    ((0.71, -1.09), (0.45, -1.10), (0.31, -0.98)),
    ((0.17, -0.87), (0.115, -0.69), (0.125, -0.48)),
    ((0.14, -0.26), (0.225, -0.10), (0.225, 0.12)),
    ((0.225, 0.36), (0.10, 0.56), (0.095, 0.83)),
    ((0.09, 0.97), (0.15, 1.05), (0.27, 1.05)),
)

# Directions from the middle, in degrees counter-clockwise from straight outward.
_WALL_INNER_END = 121.0
_WALL_OUTER_END = -26.0
_WALL_FRONT_TO_SIDE = 48.0
_TOE_TO_ABAXIAL = 71.0
_ABAXIAL_TO_JUNCTION = 15.0
_APEX_AXIAL, _APEX_ABAXIAL = 130.0, 22.0
_BULB_AXIAL = 218.0
_SKIN_TOP = 127.0
_SKIN_AXIAL_END = 260.0
_TIP = 92.0

_CUTS = sorted(
    (
        _WALL_OUTER_END,
        _ABAXIAL_TO_JUNCTION,
        _APEX_ABAXIAL,
        _WALL_FRONT_TO_SIDE,
        _TOE_TO_ABAXIAL,
        _TIP,
        _WALL_INNER_END,
        _SKIN_TOP,
        _APEX_AXIAL,
        _BULB_AXIAL,
        _SKIN_AXIAL_END,
    )
)

DISC_STEP = 0.02
"""How far apart discs may begin, in half claw lengths."""

REACHED = 0.85
"""Share of a zone that discs must surely tell from its neighbours; most of the rest is told rightly too.
[common practice, no source]"""

_WALL = 0.125
_WHITE_LINE = 0.11
_JUNCTION = 0.045
_HEEL_SKIN = 0.20


def _bezier(start: Points, first: Points, second: Points, end: Points, steps: int) -> Points:
    t = np.linspace(0.0, 1.0, steps)[:, None]
    return (1 - t) ** 3 * start + 3 * (1 - t) ** 2 * t * first + 3 * (1 - t) * t**2 * second + t**3 * end


@cache
def claw_outline(steps: int = 60) -> Points:
    """The outline of the claw at the right of a foot, shape (k, 2), without a repeated last point."""
    start = np.array(_START)
    pieces = []
    for first, second, end in _CURVES:
        piece = _bezier(start, np.array(first), np.array(second), np.array(end), steps)
        pieces.append(piece[:-1])
        start = np.array(end)
    return np.vstack(pieces)


def _reach(angles: Points) -> Points:
    """Distance from the middle to the outline in each direction (degrees)."""
    away = claw_outline() - MIDDLE
    found = np.degrees(np.arctan2(away[:, 1], away[:, 0]))
    order = np.argsort(found)
    result: Points = np.interp(angles, found[order], np.hypot(*away.T)[order], period=360.0)
    return result


def _along(start: float, end: float, inset: object = 0.0) -> Points:
    """Points at *inset* within the outline from one direction to another, both ends included.

    The line passes every direction where zones are cut, so that neighbours on both sides of it pass the same
    points and no sliver opens between them. The inner side of the toe is seen at a slant from the middle and
    takes closer steps.
    """
    low, high = min(start, end), max(start, end)
    stops = [low, *(cut for cut in _CUTS if low < cut < high), high]
    pieces = [np.linspace(a, b, max(2, int((b - a) / _step(a, b)) + 1)) for a, b in pairwise(stops)]
    angles = np.unique(np.concatenate(pieces))
    angles = angles if start < end else angles[::-1]
    depth = inset(angles) if callable(inset) else float(inset) * np.ones_like(angles)  # type: ignore[arg-type]
    distance = _reach(angles) - depth
    rays = np.column_stack([np.cos(np.radians(angles)), np.sin(np.radians(angles))])
    result: Points = MIDDLE + distance[:, None] * rays
    return result


def _step(low: float, high: float) -> float:
    return 1.2 if low >= _TIP and high <= _APEX_AXIAL else 3.0


def _rise(angles: Points, start: float, span: float) -> Points:
    """From 0 at *start* smoothly to 1 at *start + span*."""
    t = np.clip((angles - start) / span, 0.0, 1.0)
    result: Points = t * t * (3 - 2 * t)
    return result


def _wall_depth(angles: Points) -> Points:
    """Thickest at the toe, running out toward the heel and on the inner side."""
    outer = 0.3 + 0.7 * _rise(angles, _WALL_OUTER_END, 30.0)
    return _WALL * outer * _rise(-angles, -_WALL_INNER_END, 15.0)


def _white_line_depth(angles: Points) -> Points:
    """The inner edge of the white line, which is widest where the wall runs out into the bulb."""
    wider = _JUNCTION * _rise(-angles, -(_ABAXIAL_TO_JUNCTION + 12.0), 36.0)
    return (_WALL + _WHITE_LINE + wider) * _rise(-angles, -_WALL_INNER_END, 15.0)


def _skin_depth(angles: Points) -> Points:
    """Of the skin behind the heel, outside the outline and so below zero."""
    return -_HEEL_SKIN * _rise(-angles, -(_WALL_OUTER_END + 360.0), 44.0)


def _bow(start: Points, end: Points, lift: float, steps: int = 22) -> Points:
    """A curve between two points, lifted in the middle toward the toe."""
    handle = np.array([0.0, lift])
    return _bezier(start, start + (end - start) / 3 + handle, start + 2 * (end - start) / 3 + handle, end, steps)


def _closed(*pieces: Points) -> Points:
    """Pieces joined to one polygon, without points met twice in a row."""
    joined = np.vstack(pieces)
    kept = np.hypot(*(joined - np.roll(joined, 1, axis=0)).T) > 1e-9
    return joined[kept]


@cache
def _right_claw() -> dict[int, Points]:
    """Zones 1 to 9 of the claw at the right of a foot."""
    outer, inner = _WALL_OUTER_END, _WALL_INNER_END
    apex = _bow(_along(_APEX_AXIAL, _APEX_AXIAL + 1)[0], _at(_APEX_ABAXIAL, _white_line_depth), 0.10)
    bulb = _bow(_along(_BULB_AXIAL, _BULB_AXIAL + 1)[0], _at(outer, _white_line_depth), 0.12)
    cuts = (inner, _TOE_TO_ABAXIAL, _ABAXIAL_TO_JUNCTION, outer)
    zones: dict[int, Points] = {}
    for zone, (start, end) in zip((1, 2, 3), pairwise(cuts), strict=True):
        zones[zone] = _closed(_along(start, end, _wall_depth), _along(end, start, _white_line_depth))
    zones[5] = _closed(_along(inner, _APEX_AXIAL), apex, _along(_APEX_ABAXIAL, inner, _white_line_depth))
    zones[4] = _closed(
        _along(_APEX_AXIAL, _BULB_AXIAL),
        bulb,
        _along(outer, _APEX_ABAXIAL, _white_line_depth),
        apex[::-1],
    )
    rim = np.vstack([_at(outer, _wall_depth), _at(outer, _white_line_depth)])
    zones[6] = _closed(_along(_BULB_AXIAL, outer + 360), rim, bulb[::-1])
    for zone, (start, end) in zip((7, 8), pairwise((inner, _WALL_FRONT_TO_SIDE, outer)), strict=True):
        zones[zone] = _closed(_along(start, end, 0.0), _along(end, start, _wall_depth))
    heel = (_SKIN_AXIAL_END, outer + 360)
    zones[9] = _closed(_along(*heel), _along(*heel[::-1], _skin_depth))
    return zones


def _at(angle: float, inset: object) -> Points:
    result: Points = _along(angle, angle + 1, inset)[0]
    return result


@cache
def _between() -> dict[int, Points]:
    """Zones 0 and 10, between the claws."""
    skin, heel = _along(_SKIN_TOP, _BULB_AXIAL), _along(_BULB_AXIAL, _SKIN_AXIAL_END)
    end = _at(_SKIN_AXIAL_END, _skin_depth)[None, :]
    flip = np.array([-1.0, 1.0])
    top = _bow(skin[0] * flip, skin[0], -0.10)
    cleft = _bow(heel[0], heel[0] * flip, 0.05)
    foot = _bow(end[0], end[0] * flip, -0.07)
    return {
        0: _closed(skin, cleft, (skin * flip)[::-1], top),
        10: _closed(heel, end, foot, (heel * flip)[::-1], cleft[::-1]),
    }


def side_of(foot: str, claw: str) -> int:
    """1 where the claw lies at the right of its foot in the picture, -1 at the left.

    Seen from below with the toes up, the cow's left feet are at the right of the picture, and the outer
    claw of every foot is on the outside.

    Examples
    --------
    >>> side_of("LH", "lateral"), side_of("LH", "medial"), side_of("RH", "lateral")
    (1, -1, -1)
    """
    left_foot = foot.startswith("L")
    return 1 if left_foot == (claw == "lateral") else -1


@cache
def zone_polygons() -> dict[Key, Points]:
    """Every zone of the four feet, each foot around its own origin.

    Returns
    -------
    dict
        (foot, claw or ``None`` for what both claws share, zone) to an array of shape (k, 2), not closed.

    Examples
    --------
    >>> len(zone_polygons())
    80
    >>> zone_polygons()["LH", "lateral", 6].mean(axis=0).round(1).tolist()
    [0.5, -0.6]
    """
    out: dict[Key, Points] = {}
    for foot in FEET:
        for claw in CLAWS:
            flip = np.array([float(side_of(foot, claw)), 1.0])
            out |= {(foot, claw, zone): points * flip for zone, points in _right_claw().items()}
        out |= {(foot, None, zone): points.copy() for zone, points in _between().items()}
    return out


def dewclaws() -> list[Points]:
    """The two dewclaws behind the heels, which show where the back of the foot is; no zone of the map."""
    turn = np.radians(np.arange(0, 360, 8))
    one = np.column_stack([0.40 + 0.13 * np.cos(turn), -1.52 + 0.17 * np.sin(turn)])
    return [one, one * np.array([-1.0, 1.0])]


def area(polygon: Points) -> float:
    """Area by the shoelace formula.

    Examples
    --------
    >>> area(np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [0.0, 1.0]]))
    2.0
    """
    x, y = polygon.T
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def inside(polygon: Points, points: Points) -> NDArray[np.bool_]:
    """Which points lie in the polygon, by the even-odd rule."""
    x, y = points[:, 0:1], points[:, 1:2]
    (x1, y1), (x2, y2) = polygon.T, np.roll(polygon, -1, axis=0).T
    crosses = (y1 > y) != (y2 > y)
    slope = np.where(y2 == y1, 1.0, y2 - y1)
    result: NDArray[np.bool_] = (crosses & (x < (x2 - x1) * (y - y1) / slope + x1)).sum(axis=1) % 2 == 1
    return result


def distance_to_edge(polygon: Points, points: Points) -> Points:
    """Shortest distance of each point from the polygon's edge."""
    start, step = polygon, np.roll(polygon, -1, axis=0) - polygon
    to = points[:, None, :] - start[None]
    t = np.clip((to * step).sum(axis=2) / np.maximum((step**2).sum(axis=1), 1e-12), 0, 1)
    result: Points = np.hypot(*np.moveaxis(to - t[..., None] * step, 2, 0)).min(axis=1)
    return result


def _grid(polygon: Points, step: float) -> Points:
    """Points inside the polygon on a square grid."""
    low, high = polygon.min(axis=0), polygon.max(axis=0)
    columns = [np.arange(a + step / 2, b, step) for a, b in zip(low, high, strict=True)]
    points = np.stack(np.meshgrid(*columns), -1).reshape(-1, 2)
    return points[inside(polygon, points)]


@cache
def discs(key: Key) -> Points:
    """Discs inside a zone by which it is told from its neighbours; never none.

    A place is taken for the zone whose disc has the nearest edge. It is surely taken for its own zone where a disc of
    it is nearer than the zone's own edge, so as few discs are kept as reach most of the zone so.

    Returns
    -------
    numpy.ndarray, shape (k, 3)
        x, y and radius, the disc that reaches most first. No disc reaches into another zone.
    """
    foot, claw, zone = key
    return _covering(zone) * np.array([_flip(foot, claw), 1.0, 1.0])


def _flip(foot: str, claw: str | None) -> float:
    """-1 for the claw at the left of a foot, which is drawn as the mirror of the other."""
    return 1.0 if claw is None else float(side_of(foot, claw))


@cache
def _covering(zone: int) -> Points:
    """The discs of a zone of the claw at the right of a foot; every other claw has them mirrored."""
    polygon = {**_right_claw(), **_between()}[zone]
    points = _grid(polygon, DISC_STEP)
    depth = distance_to_edge(polygon, points)
    away = np.hypot(*np.moveaxis(points[:, None] - points[None], 2, 0)) - depth[None]
    reached = away <= depth[:, None] + 1e-9
    left = np.ones(len(points), dtype=bool)
    kept: list[Points] = []
    while left.mean() > 1 - REACHED:
        best = int(np.argmax(reached[left].sum(axis=0)))
        kept.append(np.array([*points[best], depth[best]]))
        left &= ~reached[:, best]
    return np.array(kept)


def label_spot(key: Key, width: float, height: float) -> tuple[float, float] | None:
    """Middle of the roomiest place in a zone for a label of this size, or ``None`` where it does not fit."""
    foot, claw, zone = key
    spot = _spot(zone, width, height)
    return spot and (spot[0] * _flip(foot, claw), spot[1])


@cache
def _spot(zone: int, width: float, height: float) -> tuple[float, float] | None:
    """The place in a zone of the claw at the right of a foot."""
    polygon = {**_right_claw(), **_between()}[zone]
    points = _grid(polygon, 0.02)
    fits = np.ones(len(points), dtype=bool)
    for across in (-0.5, 0.0, 0.5):
        for up in (-0.5, 0.0, 0.5):
            fits &= inside(polygon, points + np.array([across * width, up * height]))
    points = points[fits]
    if not len(points):
        return None
    best = points[int(np.argmax(distance_to_edge(polygon, points)))]
    return float(best[0]), float(best[1])
