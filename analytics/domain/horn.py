"""Horn: how fast it grows, what a trim leaves, when a toe is long, and how horn is shed.

Targets are starting points that a user may change by breed and parity, never a verdict on a cow.
"""

from __future__ import annotations

from dataclasses import dataclass

from evenfoot.analytics.domain.units import MM_PER_INCH
from evenfoot.analytics.messages import say

GROWTH_MM_PER_MONTH = 4.0
"""\"Some 4 mm a month\" [pub: University of Kentucky, Hoof Trimming of Dairy Cows]"""
TARGET_TOE_LENGTH_MM = 75.0
"""Dorsal wall from coronet to toe after trimming, mature cow [pub: University of Kentucky, same]"""
SOLE_RANGE_MM = (5.0, 7.0)
"""[common practice, no source]"""
LONG_TOE_MM = 80.0
LONG_TOE_ANGLE_DEG = 50.0
"""A toe is long at 80 mm or more with an angle under 50 degrees [pub: Irish Vet J 2015, 68:10, table 2]"""
TRIMS_PER_YEAR = 2
"""[pub: University of Kentucky, same]"""
BLOCK_WEEKS = (5, 6)
"""How long a block stays on [common practice, no source]"""
TOE_BREAK_MM = 3 / 8 * MM_PER_INCH
"""A toe that breaks no further than this beyond the ideal line need not lame her (3/8 in, some 9.5 mm)
[common practice, no source]"""


@dataclass(frozen=True)
class ShedStage:
    """A step of the natural shedding of horn, 0 (none) to 5 (complete)."""

    number: int
    name: str


SHED_STAGES: dict[int, ShedStage] = {
    stage.number: stage
    for stage in (
        ShedStage(0, say("none")),
        ShedStage(1, say("ulcer site")),
        ShedStage(2, say("most of the sole")),
        ShedStage(3, say("heel left high, wall standing")),
        ShedStage(4, say("only toe and a rim of wall left")),
        ShedStage(5, say("complete")),
    )
}
"""[common practice, no source]"""

SHEDDING_ORDER: tuple[tuple[str, tuple[int, ...]], ...] = (
    ("typical sole ulcer site", (4,)),
    ("rest of the sole", (5,)),
    ("heel", (6,)),
    ("abaxial wall and toe", (2, 3, 8, 1, 7)),
)
"""Which horn goes first: the loosest, at the ulcer site; last the hard tubular wall
[common practice, no source]. Each step with its zones."""
