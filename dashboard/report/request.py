"""What a report is asked to be: whose, when, in which language and units, with which sections and letterhead."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say

SECTIONS = (
    "summary",
    "agreed",
    "cows",
    "remarks",
    "visit",
    "lesions",
    "locomotion",
    "horn",
    "signals",
    "changes",
    "benchmark",
    "cost",
    "basis",
)
"""Sections in the order they stand in; the first four are the farmer's page. Cost is left out unless asked for; the
basis cannot be left out."""

NAMES = {
    "summary": say("In short"),
    "agreed": say("What was agreed"),
    "cows": say("Cows that need someone"),
    "remarks": say("Remarks"),
    "visit": say("This visit against earlier ones"),
    "lesions": say("Lesions by type, claw and zone"),
    "locomotion": say("Locomotion"),
    "horn": say("Horn and shedding"),
    "signals": say("Signals"),
    "changes": say("What changed on the farm"),
    "benchmark": say("Beside other herds"),
    "cost": say("What lesions may cost"),
}
"""How the sections that can be left out are called."""

ALWAYS = ("basis",)
PAPERS = ("A4", "Letter")


@dataclass(frozen=True)
class Sender:
    """Somebody at the head of the report: a name, an address and a logo (a PNG, already checked)."""

    name: str = ""
    address: str = ""
    logo: bytes | None = None


@dataclass(frozen=True)
class Request:
    """One report of one farm.

    Parameters
    ----------
    farm : str
    since, until : date, optional
        The last twelve months of records by default.
    on : date, optional
        The day of the list of cows; today by default.
    next_visit : date, optional
        When the trimmer comes next; what the plan proposes by default.
    language : {"en", "es"}
    units : {"mm", "in"}
    paper : {"A4", "Letter"}
    sections : tuple of str
        Names of :data:`SECTIONS`; the basis always comes along.
    remarks : str
        The trimmer's own words, printed as they are.
    trimmer, owner : Sender
        Letterhead: who writes, and whose farm it is.
    price : dict of str to float
        Cost a case by lesion code; published costs where it is empty.
    currency : str
        Currency and year of the prices.
    hemisphere : {"north", "south"}
    allowed : tuple of str, optional
        Farms the reader may see.
    """

    farm: str
    since: dt.date | None = None
    until: dt.date | None = None
    on: dt.date | None = None
    next_visit: dt.date | None = None
    language: str = "en"
    units: str = "mm"
    paper: str = "A4"
    sections: tuple[str, ...] = tuple(name for name in SECTIONS if name != "cost")
    remarks: str = ""
    trimmer: Sender = field(default_factory=Sender)
    owner: Sender = field(default_factory=Sender)
    price: dict[str, float] = field(default_factory=dict)
    currency: str = ""
    hemisphere: str = "north"
    allowed: tuple[str, ...] | None = None

    def __post_init__(self) -> None:
        for name in self.sections:
            if name not in SECTIONS:
                raise UserError(f"'{name}' is not a section of the report; use {', '.join(SECTIONS)}.")
        checked_paper(self.paper)

    def wants(self, section: str) -> bool:
        return section in ALWAYS or section in self.sections


def checked_paper(paper: str) -> str:
    """A paper that reports and lists are laid out for.

    Raises
    ------
    UserError
        It is another one.
    """
    if paper not in PAPERS:
        raise UserError(f"'{paper}' is not a paper the report is laid out for; use A4 or Letter.")
    return paper
