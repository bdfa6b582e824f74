"""What still stands on a claw at each stage of the natural shedding of horn, and what the ground lets one expect.

All of it is common practice in the trade, without a published source.
"""

from __future__ import annotations

from dataclasses import dataclass

from evenfoot.analytics.domain.horn import SHED_STAGES, SHEDDING_ORDER
from evenfoot.analytics.messages import say

HORN_ZONES: tuple[int, ...] = tuple(zone for _, zones in SHEDDING_ORDER for zone in zones)
"""Zones made of horn that is shed, in the order of shedding [common practice, no source]."""


@dataclass(frozen=True)
class Standing:
    """The zones of a claw at a shed stage: shed, shed in part, and standing."""

    stage: int
    shed: tuple[int, ...]
    partly: tuple[int, ...]
    standing: tuple[int, ...]


def _standing(stage: int, shed: tuple[int, ...], partly: tuple[int, ...] = ()) -> Standing:
    rest = tuple(zone for zone in HORN_ZONES if zone not in (*shed, *partly))
    return Standing(stage, shed, partly, rest)


STANDING: dict[int, Standing] = {
    each.stage: each
    for each in (
        _standing(0, ()),
        _standing(1, (4,)),
        _standing(2, (4,), (5,)),
        _standing(3, (4, 5)),
        _standing(4, (4, 5, 6, 2, 3), (8,)),
        _standing(5, HORN_ZONES),
    )
}
"""By shed stage: the ulcer site goes first, then the sole, the heel, and last wall and toe
[common practice, no source]."""


@dataclass(frozen=True)
class Expectation:
    """What ground of one wetness lets one expect of the horn, in words."""

    wetness: str
    words: str


EXPECTED: dict[str, Expectation] = {
    each.wetness: each
    for each in (
        Expectation("always-wet", say("Horn is kept: overgrown, but even in thickness.")),
        Expectation("always-dry", say("Horn is kept: overgrown, but even in thickness.")),
        Expectation("mixed", say("Part-shed and uneven feet that need balancing.")),
        Expectation("wet-dry-cycles", say("The cycle of shedding starts and runs through the season.")),
    )
}
"""[common practice, no source]"""


def stage_name(stage: int) -> str:
    """The name of a shed stage.

    Examples
    --------
    >>> stage_name(3)
    'heel left high, wall standing'
    """
    return SHED_STAGES[stage].name if stage in SHED_STAGES else "not known"
