"""The drawn zones: simple, apart from each other, mirrored, and where the trade's foot map has them."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from evenfoot.analytics.domain.feet import CLAWS, FEET
from evenfoot.dashboard.charts.claw import (
    DRAWN_ZONES,
    SHARED_ZONES,
    Key,
    Points,
    area,
    claw_outline,
    discs,
    distance_to_edge,
    inside,
    label_spot,
    side_of,
    zone_polygons,
)

ONE_FOOT = [key for key in zone_polygons() if key[0] == "LH"]
OF_THE_HORN = (1, 2, 3, 4, 5, 6, 7, 8)


def crossings(polygon: Points) -> int:
    """Pairs of edges that are not neighbours and cross."""
    a, b = polygon, np.roll(polygon, -1, axis=0)

    def turn(p: Points, q: Points, r: Points) -> Points:
        return (q[..., 0] - p[..., 0]) * (r[..., 1] - p[..., 1]) - (q[..., 1] - p[..., 1]) * (r[..., 0] - p[..., 0])

    i, j = np.triu_indices(len(a), 2)
    keep = ~((i == 0) & (j == len(a) - 1))
    i, j = i[keep], j[keep]
    apart = (turn(a[i], b[i], a[j]) * turn(a[i], b[i], b[j]) < -1e-15) & (
        turn(a[j], b[j], a[i]) * turn(a[j], b[j], b[i]) < -1e-15
    )
    return int(apart.sum())


def test_every_zone_of_every_foot_is_there() -> None:
    expected: set[Key] = {(foot, claw, zone) for foot in FEET for claw in CLAWS for zone in range(1, 10)}
    expected |= {(foot, None, zone) for foot in FEET for zone in SHARED_ZONES}
    assert set(zone_polygons()) == expected
    assert {zone for _, _, zone in zone_polygons()} == set(DRAWN_ZONES)


@pytest.mark.parametrize("key", ONE_FOOT, ids=str)
def test_zones_are_simple(key: Key) -> None:
    polygon = zone_polygons()[key]
    assert len(polygon) > 8
    assert crossings(polygon) == 0
    assert area(polygon) > 0.02


def test_the_check_for_crossings_finds_one() -> None:
    bow_tie = np.array([[0.0, 0.0], [1.0, 1.0], [1.0, 0.0], [0.0, 1.0]])
    assert crossings(bow_tie) == 1


def test_zones_do_not_overlap() -> None:
    """No point, of many, lies in two zones, edges left aside."""
    points = np.random.default_rng(7).uniform([-1.3, -1.4], [1.3, 1.2], size=(20_000, 2))
    held = {key: inside(zone_polygons()[key], points) for key in ONE_FOOT}
    for one, other in combinations(ONE_FOOT, 2):
        both = held[one] & held[other]
        if both.any():
            depth = np.minimum(
                distance_to_edge(zone_polygons()[one], points[both]),
                distance_to_edge(zone_polygons()[other], points[both]),
            )
            assert depth.max() < 1e-6, (one, other)


def test_zones_of_the_horn_tile_the_claw() -> None:
    """Wall, white line, sole and bulb together are the outline: nothing twice, nothing left out."""
    whole = area(claw_outline())
    parts = sum(area(zone_polygons()["LH", "lateral", zone]) for zone in OF_THE_HORN)
    assert parts == pytest.approx(whole, rel=0.004)


def test_feet_and_claws_are_mirror_images() -> None:
    flip = np.array([-1.0, 1.0])
    for zone in range(1, 10):
        left, right = zone_polygons()["LH", "lateral", zone], zone_polygons()["RH", "lateral", zone]
        assert np.array_equal(left, right * flip)
        assert np.array_equal(left, zone_polygons()["LH", "medial", zone] * flip)
        assert np.array_equal(left, zone_polygons()["LF", "lateral", zone])
    for zone in SHARED_ZONES:
        both = zone_polygons()["LH", None, zone]
        assert both[:, 0].min() == pytest.approx(-both[:, 0].max())


def test_the_outer_claw_is_on_the_outside() -> None:
    """Seen from below her left feet are at the right of the picture, and so is their outer claw."""
    for foot in FEET:
        outside = 1 if foot[0] == "L" else -1
        assert side_of(foot, "lateral") == outside
        assert side_of(foot, "medial") == -outside
        assert np.sign(zone_polygons()[foot, "lateral", 6][:, 0].mean()) == outside


def test_zones_lie_where_the_foot_map_has_them() -> None:
    """[pub: the zones of the trade's numbered foot map, Shearer and co-authors' extension articles]"""
    middle = {zone: zone_polygons()["LH", "lateral", zone].mean(axis=0) for zone in range(1, 10)}
    assert middle[1][1] > middle[2][1] > middle[3][1]
    assert middle[5][1] > middle[4][1] > middle[6][1] > middle[9][1]
    assert middle[7][1] > middle[8][1]
    assert min(middle[2][0], middle[3][0]) > max(middle[4][0], middle[5][0])
    assert middle[8][0] > middle[2][0]
    assert abs(zone_polygons()["LH", None, 0][:, 0].mean()) < 0.02
    assert zone_polygons()["LH", None, 0][:, 1].mean() > zone_polygons()["LH", None, 10][:, 1].mean()


def test_toes_point_up_and_a_little_inward() -> None:
    outline = claw_outline()
    tip = outline[np.argmax(outline[:, 1])]
    assert tip[1] > 1.0
    assert tip[0] < outline[:, 0].mean()


@pytest.mark.parametrize("key", ONE_FOOT, ids=str)
def test_pointing_at_a_zone_finds_it(key: Key) -> None:
    """Discs stay inside their zone, and nearly everywhere in it one of them has the nearest edge of all."""
    polygon = zone_polygons()[key]
    found = discs(key)
    assert inside(polygon, found[:, :2]).all()
    assert (distance_to_edge(polygon, found[:, :2]) >= found[:, 2] - 1e-9).all()
    points = np.random.default_rng(11).uniform(polygon.min(axis=0), polygon.max(axis=0), (3000, 2))
    points = points[inside(polygon, points)]
    nearest = {
        other: (np.hypot(*np.moveaxis(points[:, None] - discs(other)[None, :, :2], 2, 0)) - discs(other)[:, 2]).min(1)
        for other in ONE_FOOT
    }
    others = np.min([away for other, away in nearest.items() if other != key], axis=0)
    assert (nearest[key] < others).mean() > 0.86
    assert len(found) <= 20


def test_few_discs_tell_the_zones_of_a_foot() -> None:
    """Each is drawn, unseen, and a phone draws every drawing of the feet."""
    assert sum(len(discs(key)) for key in ONE_FOOT) < 150


def test_labels_fit_or_are_left_out() -> None:
    spot = label_spot(("LH", "lateral", 6), 0.3, 0.15)
    assert spot is not None
    corners = np.array([[spot[0] + x, spot[1] + y] for x in (-0.15, 0.15) for y in (-0.075, 0.075)])
    assert inside(zone_polygons()["LH", "lateral", 6], corners).all()
    assert label_spot(("LH", "lateral", 2), 0.3, 0.15) is None
