"""The measures by the name ``evenfoot table`` calls them, loaded only when asked for."""

from __future__ import annotations

import importlib
import inspect
from dataclasses import dataclass
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.selection import Selection


@dataclass(frozen=True)
class Measure:
    """A measure: where its function is, and the question it answers."""

    name: str
    module: str
    function: str
    question: str


MEASURES: dict[str, Measure] = {
    measure.name: measure
    for measure in (
        Measure("summary", "lameness.summary", "summary", "Is each farm better, worse, or not clearly changed?"),
        Measure(
            "prevalence", "lesions.prevalence", "prevalence", "How common are lesions, by type, place, cow and time?"
        ),
        Measure("locomotion", "lameness.locomotion", "locomotion", "What share of cows is lame, period by period?"),
        Measure("transitions", "lameness.transitions", "transitions", "Who becomes lame, stays lame, recovers?"),
        Measure("trend", "lameness.trend", "trend", "Does the share of lame cows, or of a lesion, rise or fall?"),
        Measure(
            "rolling",
            "lameness.rolling_window",
            "rolling",
            "How did the last so many months together go, month after month?",
        ),
        Measure(
            "years", "lameness.years", "years", "Is this year, so far, unlike the same months of the years before?"
        ),
        Measure("season", "lameness.season", "season", "Does lameness, or a lesion, have a season?"),
        Measure("control-chart", "lameness.control_chart", "control_chart", "Is this month unlike the months before?"),
        Measure(
            "drivers", "lameness.drivers", "drivers", "In which cows is the newest month unlike the herd's own past?"
        ),
        Measure("signals", "lameness.signals", "signals", "On which farms is a month unlike the months before?"),
        Measure("change-impact", "lesions.change_impact", "change_impact", "Did a change go with fewer lesions?"),
        Measure("benchmark", "lesions.benchmark", "benchmark", "How does a farm stand among the others?"),
        Measure("comparison", "lesions.comparison", "comparison", "Do groups differ, one against a reference?"),
        Measure("incidence", "lesions.incidence", "incidence", "How often do new cases come up, per 100 cow-months?"),
        Measure(
            "horn", "horn.horn_state", "horn", "In what state is the horn: length, angle, heel, sole, evenness, breaks?"
        ),
        Measure(
            "recurrence", "lesions.recurrence", "recurrence", "Do cases come back on the same claw or cow, and when?"
        ),
        Measure("shedding", "horn.shedding", "shedding", "How far has horn been shed, and what does that go with?"),
        Measure(
            "agreement", "quality.agreement", "agreement", "Do two people write down the same about the same cows?"
        ),
        Measure("growth", "horn.growth", "growth", "How fast do toes grow, by housing, season and claw?"),
        Measure(
            "family", "lesions.family", "family", "Do lesions run in families: daughters of one sire against another's?"
        ),
        Measure(
            "visit-review",
            "planning.visit_review",
            "visit_review",
            "What differs from the last visit and from last year?",
        ),
        Measure("cost", "lesions.cost", "cost", "What do lesions cost, and what would halving one save?"),
        Measure("how-many", "planning.sample_size", "how_many", "How many cows does it take to see a change?"),
        Measure("worklist", "planning.worklist", "worklist", "Which cows are due, when, why, and for whom?"),
        Measure("quality", "quality.record_quality", "record_quality", "How good are the records?"),
        Measure(
            "herd-counts", "lesions.herd_counts", "herd_counts", "What was counted without telling the cows apart?"
        ),
        Measure("plan", "planning.plan", "plan", "On which days should whom be seen, over the coming months?"),
    )
}


def answer(name: str, ledger: Ledger, selection: Selection, **options: Any) -> Answer:
    """Work out measure *name*, all of it from the records of one moment; options that are ``None`` or empty take the
    measure's own default.

    Raises
    ------
    UserError
        There is no such measure, or it does not take one of the options given.
    """
    if name not in MEASURES:
        raise UserError(
            say("There is no measure '{name}'; use one of {listed}.", name=name, listed=", ".join(MEASURES))
        )
    measure = MEASURES[name]
    function = getattr(importlib.import_module(f"evenfoot.analytics.measures.{measure.module}"), measure.function)
    takes = inspect.signature(function).parameters
    given = {key: value for key, value in options.items() if value is not None and value != ()}
    for key in given:
        if key not in takes:
            raise UserError(
                say(
                    "The measure '{name}' does not take --{value}; leave it out.",
                    name=name,
                    value=key.replace("_", "-"),
                )
            )
    with ledger.snapshot():
        result: Answer = function(ledger, selection, **given)
    return result
