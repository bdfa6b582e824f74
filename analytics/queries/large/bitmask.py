"""Cases of every farm, from one number a cow whose bits say which places and lesions were found on her.

To tell a cow's findings apart by place, every finding must be looked up among all of them by farm, cow and place. With
millions of cows it takes a third of the work to add them up as bits first, one number a cow, and then to count bits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from evenfoot.analytics.domain.feet import CLAWS, FEET, LIMBS, ZONES
from evenfoot.analytics.domain.lesions import FAMILIES, LESIONS
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.filters import BETWEEN

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


def cases_of_farms(found: str, keys: list[str], layout: Layout) -> str:
    """Cows of each farm on which each place or lesion was found.

    Parameters
    ----------
    found : str
        A question that gives findings: the *keys*, farm_key, cow_key and the columns of the layout; where one of these
        is missing, the finding does not count.
    keys : list of str
        Further groupings.
    layout : Layout

    Returns
    -------
    str
        A question: the keys, the columns of the layout, farm_key and m (cows), for all that were met.
    """
    of_farm = [*keys, "farm_key"]
    numbers = {f"number_{at}": f"BIT_OR({_bit_here(layout, values)})" for at, values in enumerate(layout.numbers)}
    of_cow = [*of_farm, "cow_key"]
    cows = f"SELECT {sql.names(of_cow)}, {sql.listed(numbers)} FROM ({found}) AS found{sql.group_by(of_cow)}"
    places = layout.in_a_number * layout.width
    each = sql.union(
        *(
            f"SELECT {sql.names(of_farm)}, {number} AS bits, CAST({at * places} AS BIGINT) AS before FROM cow_bits"
            for at, number in enumerate(numbers)
        )
    )
    met = f"SELECT {sql.names(of_farm)}, before + place AS place FROM ({numbers_of_bits(each, places)}) AS met"
    farms = f"SELECT {sql.names(of_farm)}, place, COUNT(*) AS m FROM ({met}) AS met{sql.group_by([*of_farm, 'place'])}"
    # Told apart by a number as long as they are many.
    columns, step = {}, layout.width
    for name in layout.columns:
        step = step if name == layout.columns[0] else step // len(VALUES[name])
        at_value = f"CAST(place // {step} AS BIGINT) % {len(VALUES[name])}"
        columns[name] = sql.cases(at_value, dict(enumerate(VALUES[name])))
    chosen = sql.commas(sql.names(keys), sql.listed(columns), "farm_key", "m")
    return f"WITH cow_bits AS ({cows}) SELECT {chosen} FROM ({farms}) AS farms"


def _bit_here(layout: Layout, first: tuple[str | int, ...]) -> str:
    """The bit of a finding in the number of its first column's value; missing where any of its columns is.

    *first* are the values of the first column that have a bit in this number; with another one it is missing too.
    """
    factors = []
    step = 1
    for name in reversed(layout.columns):
        values = first if name == layout.columns[0] else VALUES[name]
        bits = sql.cases(sql.name(name), {word: 2 ** (step * place) for place, word in enumerate(values)})
        factors.append(f"CAST({bits} AS BIGINT)")
        step *= len(values)
    return " * ".join(factors)


def numbers_of_bits(rows: str, places: int) -> str:
    """The rows once for every bit that is set in their column ``bits``, with its ``place`` (from 0)."""
    each = f"({sql.whole_numbers(places)}) AS places"
    bits = f"SELECT CAST(place AS BIGINT) AS place, {sql.bit('place')} AS bit FROM {each}"
    return f"SELECT * FROM ({rows}) AS numbers CROSS JOIN ({bits}) AS each_bit WHERE (bits & bit) <> 0"
