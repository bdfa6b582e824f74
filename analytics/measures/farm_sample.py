"""Saying that a figure rests on some farms of many, and asking for farms where a list of all would be no use."""

from __future__ import annotations

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.cow_status import farms_of
from evenfoot.analytics.queries.farm_sample import FarmSample
from evenfoot.analytics.queries.selection import Selection

MOST_FARMS_LISTED = 200
"""Farms whose cows are put on one list or into one plan. Nobody sees the cows of more; a round is planned by those who
ride it. [common practice, no source]"""


def part_of_farms(sample: FarmSample) -> tuple[Message, ...]:
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
    UserError
        The selection holds cows of more than :data:`MOST_FARMS_LISTED` farms.
    """
    if len(selection.farms) == 1:
        return
    farms = farms_of(ledger, selection)
    if farms > MOST_FARMS_LISTED:
        raise UserError(
            say(
                "A list of the cows of {n} farms is of no use to anybody; choose farms, {most} at most.",
                n=farms,
                most=MOST_FARMS_LISTED,
            )
        )
