"""Saying that a figure rests on some farms of many, and asking for farms where a list of all would be no use."""

from __future__ import annotations

from analytics.ledger import Ledger
from analytics.mistake import Mistake
from analytics.tally.due import farms_of
from analytics.tally.farm_sample import FarmSample
from analytics.tally.selection import Selection
from analytics.words import Said, say

MOST_FARMS_LISTED = 200
"""Farms whose cows are put on one list or into one plan. Nobody sees the cows of more; a round is planned by those who
ride it. [common practice, no source]"""


def part_of_farms(sample: FarmSample) -> tuple[Said, ...]:
    """A sentence on which farms an answer rests on; none where it rests on all of them."""
    if not sample.partial:
        return ()
    return (
        say(
            "Worked out on {taken} of {all} farms, whole ones and always the same, chosen by a digest of their names: "
            "all of them have {records} records, and no more than {most} are brought together here.",
            taken=sample.taken,
            all=sample.farms,
            records=f"{sample.records:,}",
            most=f"{sample.most:,}",
        ),
    )


def refuse_many_farms(ledger: Ledger, selection: Selection) -> None:
    """Refuse a list of cows of very many farms.

    Raises
    ------
    Mistake
        The selection holds cows of more than :data:`MOST_FARMS_LISTED` farms.
    """
    if len(selection.farms) == 1:
        return
    farms = farms_of(ledger, selection)
    if farms > MOST_FARMS_LISTED:
        raise Mistake(
            say(
                "A list of the cows of {n} farms is of no use to anybody; choose farms, {most} at most.",
                n=farms,
                most=MOST_FARMS_LISTED,
            )
        )
