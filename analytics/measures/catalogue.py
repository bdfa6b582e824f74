"""The measures by the name ``evenfoot table`` calls them, loaded only when asked for."""

from __future__ import annotations

import importlib
import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, cast

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.selection import Selection


@dataclass(frozen=True)
class Measure:
    """A measure: where its function is, the question it answers, and the columns of its table, blanks between.

    The columns are those without options; other groupings stand in the place of the first ones. ``headings`` are
    those of columns that no other measure has; the rest are in :mod:`evenfoot.dashboard.charts.headings`.
    """

    name: str
    module: str
    function: str
    question: str
    columns: str
    headings: Mapping[str, str] = field(default_factory=dict)

    def load(self) -> Callable[..., Answer]:
        """The function, whose docstring says what each column holds."""
        place = importlib.import_module(f"evenfoot.analytics.measures.{self.module}")
        return cast("Callable[..., Answer]", getattr(place, self.function))

    @property
    def options(self) -> tuple[str, ...]:
        """What it takes beyond farms, dates, visits and lesions, as options of the command."""
        takes = list(inspect.signature(self.load()).parameters)[2:]
        return tuple(f"--{name.replace('_', '-')}" for name in takes if name not in _IN_PYTHON)


_IN_PYTHON = ("each_lesion", "limits", "ahead_days", "power")
"""Options of measures that only Python gives."""

MEASURES: dict[str, Measure] = {
    measure.name: measure
    for measure in (
        Measure(
            "summary",
            "lameness.summary",
            "summary",
            "Is each farm better, worse, or not clearly changed?",
            "farm what now_cases now_at_risk now before last_year recent expected difference low high verdict "
            "reason kind first last visits looks detectable",
        ),
        Measure(
            "prevalence",
            "lesions.prevalence",
            "prevalence",
            "How common are lesions, by type, place, cow and time?",
            "lesion cases at_risk prevalence low high n_farms n_visits clusters design_effect",
        ),
        Measure(
            "locomotion",
            "lameness.locomotion",
            "locomotion",
            "What share of cows is lame, period by period?",
            "period scored lame lame_prevalence lame_low lame_high severe severe_prevalence severe_low "
            "severe_high mean_score scale cows n_farms clusters design_effect",
        ),
        Measure(
            "transitions",
            "lameness.transitions",
            "transitions",
            "Who becomes lame, stays lame, recovers?",
            "from_state to_state cows share low high transition of animals",
        ),
        Measure(
            "resolution",
            "lameness.resolution",
            "resolution",
            "How many lame cows were sound again at their next scoring, by the days between?",
            "days_between cases at_risk prevalence low high",
            {"days_between": say("Days between the scorings")},
        ),
        Measure(
            "trend",
            "lameness.trend",
            "trend",
            "Does the share of lame cows, or of a lesion, rise or fall?",
            "term estimate low high p_value",
        ),
        Measure(
            "rolling",
            "lameness.rolling_window",
            "rolling",
            "How did the last so many months together go, month after month?",
            "month from_month cases at_risk prevalence low high clusters design_effect",
        ),
        Measure(
            "years",
            "lameness.years",
            "years",
            "Is this year, so far, unlike the same months of the years before?",
            "year to_month cases at_risk prevalence low high difference diff_low diff_high direction",
        ),
        Measure(
            "season",
            "lameness.season",
            "season",
            "Does lameness, or a lesion, have a season?",
            "term estimate low high p_value words",
        ),
        Measure(
            "control-chart",
            "lameness.control_chart",
            "control_chart",
            "Is this month unlike the months before?",
            "month cases at_risk prevalence centre lower upper signal baseline cows",
        ),
        Measure(
            "drivers",
            "lameness.drivers",
            "drivers",
            "In which cows is the newest month unlike the herd's own past?",
            "grouping which cases at_risk prevalence past_cases past_at_risk past_prevalence difference low "
            "high p_value q_value direction",
        ),
        Measure(
            "signals",
            "lameness.signals",
            "signals",
            "On which farms is a month unlike the months before?",
            "farm month cases at_risk prevalence centre lower upper signal signal_month signals_half_year "
            "signals_a_year limit_ratio lately",
        ),
        Measure(
            "change-impact",
            "lesions.change_impact",
            "change_impact",
            "Did a change go with fewer lesions?",
            "term estimate low high p_value headline",
        ),
        Measure(
            "benchmark",
            "lesions.benchmark",
            "benchmark",
            "How does a farm stand among the others?",
            "farm cases at_risk prevalence shrunken shrunken_low shrunken_high funnel_low funnel_high outside "
            "rank rank_low rank_high low high weight",
        ),
        Measure(
            "comparison",
            "lesions.comparison",
            "comparison",
            "Do groups differ, one against a reference?",
            "group cases at_risk prevalence low high risk_ratio rr_low rr_high odds_ratio or_low or_high "
            "p_value difference diff_low diff_high crude_risk_ratio crude_odds_ratio adj_odds_ratio "
            "adj_or_low adj_or_high adj_p_value std_risk std_low std_high q_value",
        ),
        Measure(
            "incidence",
            "lesions.incidence",
            "incidence",
            "How often do new cases come up, per 100 cow-months?",
            "lesion new_cases cow_months rate_per_100 low high rate_ratio rr_low rr_high cows",
        ),
        Measure(
            "horn",
            "horn.horn_state",
            "horn",
            "In what state is the horn: length, angle, heel, sole, evenness, breaks?",
            "housing measure n mean low high sd q1 median q3 cows unit",
        ),
        Measure(
            "recurrence",
            "lesions.recurrence",
            "recurrence",
            "Do cases come back on the same claw or cow, and when?",
            "lesion level at_risk recurred median_days free_180 free_180_low free_180_high free_365 "
            "free_365_low free_365_high cases",
        ),
        Measure(
            "shedding",
            "horn.shedding",
            "shedding",
            "How far has horn been shed, and what does that go with?",
            "housing shed_stage feet share low high seen cows",
        ),
        Measure(
            "agreement",
            "quality.agreement",
            "agreement",
            "Do two people write down the same about the same cows?",
            "a b pairs agreement kappa low high weights what agreement_low agreement_high same_day "
            "margins_p_value symmetry_p_value",
        ),
        Measure(
            "growth",
            "horn.growth",
            "growth",
            "How fast do toes grow, by housing, season and claw?",
            "housing season claw pairs mm_per_month low high raw_mean shrink_weight months cows",
        ),
        Measure(
            "family",
            "lesions.family",
            "family",
            "Do lesions run in families: daughters of one sire against another's?",
            "sire daughters cases rate shrunken low high farms effect",
        ),
        Measure(
            "visit-review",
            "planning.visit_review",
            "visit_review",
            "What differs from the last visit and from last year?",
            "lesion visit first last cases at_risk prevalence low high verdict reason",
        ),
        Measure(
            "cost",
            "lesions.cost",
            "cost",
            "What do lesions cost, and what would halving one save?",
            "lesion cases cost low high currency saving_if_halved saving_low saving_high share cost_a_case price_from",
        ),
        Measure(
            "how-many",
            "planning.sample_size",
            "how_many",
            "How many cows does it take to see a change?",
            "points direction prevalence prevalence_then needed needed_independent design_effect at_hand "
            "enough detectable_fall detectable_rise",
        ),
        Measure(
            "worklist",
            "planning.worklist",
            "worklist",
            "Which cows are due, when, why, and for whom?",
            "rank farm cow due_on since reason who kinds foot claw lesion action recheck_on found_on also "
            "score scale scored_on group days_in_milk looked_on toe_foot toe_claw toe_from left_on left_mm "
            "expected_mm expected_low expected_high limit_mm passes_on passes_from passes_to",
        ),
        Measure(
            "quality",
            "quality.record_quality",
            "record_quality",
            "How good are the records?",
            "check trimmer month field n share p_value sentence low high p_adjusted farm",
        ),
        Measure(
            "herd-counts",
            "lesions.herd_counts",
            "herd_counts",
            "What was counted without telling the cows apart?",
            "farm visit_date lesion unit cases looked_at herd_size prevalence low high trimmer note",
        ),
        Measure(
            "plan",
            "planning.plan",
            "plan",
            "On which days should whom be seen, over the coming months?",
            "date farm kind cows cow_list number",
        ),
        Measure(
            "agreed",
            "planning.agreements",
            "agreements",
            "What was agreed, was it done, and what became of its lesion?",
            "number farm agreed_on text who due_on lesion place state done_on outcome before_cases before_looks before "
            "now_on now_cases now_looks now verdict since",
        ),
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
    function = MEASURES[name].load()
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
        return function(ledger, selection, **given)


def heading_of(column: str) -> str | None:
    """The heading that a measure declares for a column of its own; None where none does."""
    return next((measure.headings[column] for measure in MEASURES.values() if column in measure.headings), None)
