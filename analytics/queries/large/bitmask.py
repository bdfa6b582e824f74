"""Cases of every farm, from one number a cow whose bits say which places and lesions were found on her.

To tell a cow's findings apart by place, every finding must be looked up among all of them by farm, cow and place. With
millions of cows it takes a third of the work to add them up as bits first, one number a cow, and then to count bits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenfoot.analytics.domain.feet import CLAWS, FEET, LIMBS, ZONES
from evenfoot.analytics.domain.lesions import FAMILIES, LESIONS
from evenfoot.analytics.queries.engine import bit
from evenfoot.analytics.queries.filters import BETWEEN
from evenfoot.analytics.queries.lazy_import import ibis

if TYPE_CHECKING:
    import ibis.expr.types as ir

VALUES: dict[str, tuple[str | int, ...]] = {
    "foot": FEET,
    "limb": LIMBS,
    "claw": CLAWS,
    "side": (*CLAWS, BETWEEN),
    "zone": tuple(ZONES),
    "lesion": tuple(dict.fromkeys(lesion.parent for lesion in LESIONS.values())),
    "family": tuple(FAMILIES),
}
"""What a derived finding may hold in the columns that can be bits; intake lets nothing else in."""

LAYS_OUT_BITS = frozenset(("duckdb", "postgres", "pyspark"))
"""Engines that can set the places of bits one under the other; one that is only read may know no ranges."""

IN_A_NUMBER = 62
"""Bits of a whole number that every engine shifts and adds without its sign."""

MOST_NUMBERS = 4
"""Numbers a cow beyond which the bits save nothing."""


@dataclass(frozen=True)
class Layout:
    """Which bit stands for what: the last column's values lie side by side, the first is cut into numbers."""

    columns: tuple[str, ...]

    @property
    def width(self) -> int:
        """Bits of one value of the first column."""
        return math.prod(len(VALUES[name]) for name in self.columns[1:])

    @property
    def in_a_number(self) -> int:
        """Values of the first column that share a number."""
        return min(len(VALUES[self.columns[0]]), max(1, IN_A_NUMBER // self.width))

    @property
    def numbers(self) -> list[tuple[str | int, ...]]:
        """The values of the first column, a number each."""
        first = VALUES[self.columns[0]]
        return [first[at : at + self.in_a_number] for at in range(0, len(first), self.in_a_number)]


def layout_of(columns: tuple[str, ...]) -> Layout | None:
    """How the columns lie in bits, or nothing where they cannot."""
    if not columns or not set(columns) <= set(VALUES):
        return None
    layout = Layout(columns)
    return layout if layout.width <= IN_A_NUMBER and len(layout.numbers) <= MOST_NUMBERS else None


def cases_of_farms(found: ir.Table, keys: list[str], layout: Layout) -> ir.Table:
    """Cows of each farm on which each place or lesion was found.

    Parameters
    ----------
    found : ibis.Table
        Findings: the *keys*, farm_key, cow_key and the columns of the layout; where one of these is missing, the
        finding does not count.
    keys : list of str
        Further groupings.
    layout : Layout

    Returns
    -------
    ibis.Table
        The keys, the columns of the layout, farm_key and m (cows), for all that were met.
    """
    numbers = layout.numbers
    sums = {f"number_{at}": _bit_here(found, layout, values).bit_or() for at, values in enumerate(numbers)}
    cows = found.group_by([*keys, "farm_key", "cow_key"]).agg(**sums)
    each = [
        cows.select(*keys, "farm_key", bits=cows[name], before=ibis.literal(at * layout.in_a_number * layout.width))
        for at, name in enumerate(sums)
    ]
    met = numbers_of_bits(ibis.union(*each) if len(each) > 1 else each[0], layout.in_a_number * layout.width)
    met = met.mutate(place=met.before + met.at)
    farms = met.group_by([*keys, "farm_key", "place"]).agg(m=met.count())
    # Told apart by a number as long as they are many.
    columns, step = {}, layout.width
    for name in layout.columns:
        step = step if name == layout.columns[0] else step // len(VALUES[name])
        at = (farms.place // step).cast("int64") % len(VALUES[name])
        columns[name] = at.cases(*enumerate(VALUES[name]))
    return farms.select(*keys, **columns, farm_key=farms.farm_key, m=farms.m)


def _bit_here(found: ir.Table, layout: Layout, first: tuple[str | int, ...]) -> ir.IntegerValue:
    """The bit of a finding in the number of its first column's value; missing where any of its columns is.

    *first* are the values of the first column that have a bit in this number; with another one it is missing too.
    """
    out: ir.IntegerValue = ibis.literal(1, "int64")
    step = 1
    for name in reversed(layout.columns):
        values = first if name == layout.columns[0] else VALUES[name]
        bits = {word: 2 ** (step * place) for place, word in enumerate(values)}
        # Engines take a number for as small as it looks, and their product as well.
        kind = "int32" if max(bits.values()) < 2**31 else "int64"
        out = out * found[name].cases(*((word, ibis.literal(each, kind)) for word, each in bits.items())).cast("int64")
        step *= len(values)
    return out


def numbers_of_bits(numbers: ir.Table, places: int) -> ir.Table:
    """The rows once for every bit that is set in their column ``bits``, with its place (from 0) as ``at``."""
    bits = ibis.range(0, places).unnest().name("at").as_table()
    bits = bits.select(at=bits.at.cast("int64"), bit=bit(bits.at))
    both = numbers.cross_join(bits)
    return both.filter((both.bits & both.bit) != 0)
