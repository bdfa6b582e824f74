"""Everything a report says, worked out once: answers of the measures for one farm and one period."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from evenfoot.analytics.domain.lesions import PARENTS
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.catalogue import answer
from evenfoot.analytics.measures.lesions.foot_map import foot_map
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.messages import say
from evenfoot.analytics.progress import stage
from evenfoot.analytics.queries.change_windows import changes as recorded_changes
from evenfoot.analytics.queries.cow_status import newest_record
from evenfoot.analytics.queries.recorders import recorders
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.charts.answers import biggest_lesion
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.report.request import NAMES, Request
from evenfoot.dashboard.report.visit_findings import COLUMNS, found_at_visit

LOOK_AHEAD = 60
"""Days ahead that the farmer's list of cows reaches: a block comes off after six weeks. [common practice, no source]"""

MONTHS = 12
"""A report looks back this far unless told otherwise: one round of the seasons. [common practice, no source]"""


@dataclass(frozen=True)
class Contents:
    """The answers of one report.

    Attributes
    ----------
    request : Request
    selection : Selection
        The farm, the period, and the kinds of visit that the shares of cows with lesions rest on.
    until : date
        Last day of the period.
    answers : dict of str to Answer
    changes : pandas.DataFrame
        date, what: the changes recorded on the farm, oldest first.
    troubles : dict of str to str
        Section -> the sentence that says why an answer of it could not be worked out.
    visited_on : date, optional
        Day of the newest trims.
    recorded_by : str
        Who trimmed that day, as the sheets say it.
    found : pandas.DataFrame
        What was found at that visit, as :func:`visit_findings.found_at_visit` gives it.
    """

    request: Request
    selection: Selection
    until: dt.date
    answers: dict[str, Answer] = field(default_factory=dict)
    changes: pd.DataFrame = field(default_factory=pd.DataFrame)
    troubles: dict[str, str] = field(default_factory=dict)
    visited_on: dt.date | None = None
    recorded_by: str = ""
    found: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(COLUMNS)))

    def get(self, name: str) -> Answer | None:
        """An answer with something in it, or ``None``."""
        found = self.answers.get(name)
        return None if found is None or found.empty else found

    @property
    def since(self) -> dt.date:
        assert self.selection.since is not None
        return self.selection.since


def collect(ledger: Ledger, request: Request) -> Contents:
    """Ask the measures, all of the records of one moment.

    A UserError of one measure does not stop the report: its sentence is kept for the section that asked.

    Raises
    ------
    UserError
        The farm has no records, or none in the period.
    """
    with ledger.snapshot():
        return _collected(ledger, request)


def _collected(ledger: Ledger, request: Request) -> Contents:
    selection = _period(ledger, request)
    until = selection.until
    assert until is not None
    asked = _Asked(ledger)
    farm = Selection(farms=(request.farm,), until=until, hemisphere=request.hemisphere, allowed=request.allowed)
    if request.wants("visit") or request.wants("benchmark"):
        asked.begin("visit")
        asked.keep("visit", "visit-review", farm)
    if request.wants("summary") or request.wants("visit") or request.wants("locomotion"):
        asked.begin("summary")
        asked.keep("verdicts", "summary", farm)
    if request.wants("agreed"):
        asked.begin("agreed")
        asked.keep("agreed", "agreed", farm.with_(until=None), on=request.on or request.until)
    asked.answers["any"] = prevalence(ledger, selection, by=())
    if not asked.answers["any"].basis.cows:
        # No whole-herd visit: better the biased figures with their caution than none.
        selection = selection.with_(visits=("all",))
        asked.answers["any"] = prevalence(ledger, selection, by=())
    if request.wants("summary"):
        asked.begin("summary")
        rows = records(asked.answers["verdicts"].table) if "verdicts" in asked.answers else []
        if biggest := biggest_lesion(rows):
            of_it = selection.with_(lesions=(str(biggest["what"]),))
            asked.work_out("places", lambda: foot_map(ledger, of_it))
    if request.wants("lesions"):
        asked.begin("lesions")
        asked.keep("lesions", "prevalence", selection)
        asked.keep("claws", "prevalence", selection, by=("limb", "claw"), per="claw")
        asked.work_out("zones", lambda: foot_map(ledger, selection))
    if request.wants("locomotion"):
        asked.begin("locomotion")
        asked.keep("locomotion", "locomotion", selection.with_(visits=("whole-herd",)), by=("month",))
    if request.wants("horn"):
        asked.begin("horn")
        asked.keep("horn", "horn", selection, by=("farm",))
        asked.keep("shedding", "shedding", selection, by=("farm",))
    if request.wants("cows") or request.wants("summary"):
        asked.begin("cows")
        asked.keep("worklist", "worklist", farm, on=request.on)
        asked.keep("cows", "worklist", farm, on=request.on, ahead_days=LOOK_AHEAD)
        if request.next_visit is None:
            asked.keep("plan", "plan", farm, on=request.on)
    if request.wants("signals"):
        asked.begin("signals")
        asked.keep("control", "control-chart", farm)
        asked.keep("control lesions", "control-chart", farm.with_(lesions=PARENTS))
    changes = pd.DataFrame(columns=["date", "what", "lesions"])
    if request.wants("changes") or request.wants("summary"):
        asked.begin("changes")
        changes = changes_of(ledger, request, until)
        for place, (day, codes) in enumerate(zip(changes["date"], changes["lesions"], strict=True)):
            # Of several changes of one day each is judged on what it aims at itself.
            alone = (changes["date"] == day).sum() == 1 or not codes
            own = farm if alone else farm.with_(lesions=tuple(codes.split()))
            asked.keep(f"change {place}", "change-impact", own, change=day.date())
    if request.wants("benchmark"):
        asked.begin("benchmark")
        asked.keep("benchmark", "benchmark", selection.with_(farms=()))
    if request.wants("cost"):
        asked.begin("cost")
        asked.keep(
            "cost", "cost", selection.with_(visits=("all",)), price=request.price or None, currency=request.currency
        )
    visited_on, recorded_by = _newest_visit(ledger, farm)
    contents = Contents(request, selection, until, asked.answers, changes, asked.troubles, visited_on, recorded_by)
    if visited_on is None or not request.wants("cows"):
        return contents
    return dataclasses.replace(contents, found=found_at_visit(ledger, farm, visited_on))


def _newest_visit(ledger: Ledger, farm: Selection) -> tuple[dt.date | None, str]:
    """The day of the newest trims, and who trimmed then."""
    people = recorders(ledger, farm.with_(visits=("all",)), "trims")
    if people.empty:
        return None, ""
    newest = people["last"].max()
    names = people.loc[(people["last"] == newest) & people["who"].notna(), "who"]
    return newest.date(), ", ".join(sorted(map(str, names)))


@dataclass
class _Asked:
    """Answers as they come, and why there is none where a measure cannot answer for this farm."""

    ledger: Ledger
    section: str = ""
    answers: dict[str, Answer] = field(default_factory=dict)
    troubles: dict[str, str] = field(default_factory=dict)

    def begin(self, section: str) -> None:
        """Name the section that the next answers are for."""
        self.section = section
        stage(say("Working out: {section}", section=NAMES[section]))

    def keep(self, key: str, measure: str, selection: Selection, **options: Any) -> None:
        """Keep the answer of a measure; options that are empty take the measure's own default."""
        given = {name: value for name, value in options.items() if value is not None and value != ""}
        self.work_out(key, lambda: answer(measure, self.ledger, selection, **given))

    def work_out(self, key: str, make: Callable[[], Answer]) -> None:
        """Keep what *make* gives; of a UserError keep the sentence. Any other error is a fault and is raised."""
        try:
            self.answers[key] = make()
        except UserError as mistake:
            self.troubles.setdefault(self.section, mistake.sentence)


def _period(ledger: Ledger, request: Request) -> Selection:
    whole = Selection(farms=(request.farm,), hemisphere=request.hemisphere, allowed=request.allowed)
    newest = newest_record(ledger, whole)
    if newest is None:
        raise UserError(f"There are no trims or scores of {request.farm}, so there is nothing to report.")
    until = request.until or newest
    since = request.since or (pd.Timestamp(until) - pd.DateOffset(months=MONTHS) + pd.Timedelta(days=1)).date()
    return whole.with_(since=since, until=until)


def changes_of(ledger: Ledger, request: Request, until: dt.date) -> pd.DataFrame:
    """Changes recorded on the farm up to a day: date, what, lesions (codes of what each aims at), oldest first."""
    known = recorded_changes(ledger, Selection(farms=(request.farm,), allowed=request.allowed))
    known = known[known["date"] <= pd.Timestamp(until)].drop_duplicates(["date", "what"])
    return known.sort_values(["date", "what"])[["date", "what", "lesions"]].reset_index(drop=True)
