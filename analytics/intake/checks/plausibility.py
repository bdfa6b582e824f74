"""What a record must be to be possible: ranges of single fields, and fields that contradict each other."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.domain.horn_limits import POSSIBLE
from evenfoot.analytics.intake.checks.score_scale import is_on_scale
from evenfoot.analytics.intake.parsing.dates import EARLIEST
from evenfoot.analytics.intake.sheet import Problem
from evenfoot.analytics.messages import say

# Bounds that only slips of the pen go beyond [common practice, no source].
RANGES: dict[str, tuple[float, float, str]] = {
    "herd_size": (1, 100_000, ""),
    "looked_at": (1, 800_000, ""),
    "cases": (0, 800_000, ""),
    "parity": (1, 20, ""),
    "parity_first": (1, 20, ""),
    "parity_last": (1, 20, ""),
    "zone": (0, 12, ""),
    "severity": (1, 3, ""),
    "shed_stage": (0, 5, ""),
    "toe_length_mm": (30, 200, "mm"),
    "toe_length_after_mm": (30, 200, "mm"),
    "toe_angle_deg": (20, 90, "degrees"),
    "heel_depth_mm": (0, 120, "mm"),
    "sole_thickness_mm": (0, 30, "mm"),
    "toe_break_mm": (0, 60, "mm"),
}
LONGEST_RECHECK_DAYS = 3 * 365
"""A recheck further ahead is taken for a slip of the pen [common practice, no source]."""
SAME_DAY_OR_EARLIER = ("visit_date", "date", "calving_date", "birth_date", "entered_on", "left_on", "starts_on")
NOT_BEFORE_1980 = (*SAME_DAY_OR_EARLIER, "ends_on", "recheck_on")

_DATE_REMEDY = say("Correct the date.")


@dataclass(frozen=True)
class Contradiction:
    """Fields that cannot both be right; ``holds`` is true where they are wrong.

    ``reads`` are all the fields that it looks at. Where the field that is ``needs`` could not be read, its absence is
    no second mistake.
    """

    name: str
    field: str
    reads: tuple[str, ...]
    holds: Callable[[pd.DataFrame], pd.Series]
    reason: str
    remedy: str
    needs: str = ""


def _both(frame: pd.DataFrame, *names: str) -> pd.Series:
    return frame[list(names)].notna().all(axis=1)


def _later(first: str, second: str) -> Callable[[pd.DataFrame], pd.Series]:
    return lambda frame: frame[first] > frame[second]


def _beyond_possible(frame: pd.DataFrame) -> pd.Series:
    low = frame["limit"].map({name: low for name, (low, _) in POSSIBLE.items()}).astype("float64")
    high = frame["limit"].map({name: high for name, (_, high) in POSSIBLE.items()}).astype("float64")
    return (frame["value"] < low) | (frame["value"] > high)


WRITE_LESION = say("Clear it, or write the lesion.")
CONTRADICTIONS: dict[str, tuple[Contradiction, ...]] = {
    "trims": (
        Contradiction("claw without foot", "claw", ("claw", "foot"), lambda f: f["claw"].notna() & f["foot"].isna(),
                      say("A claw, but no foot."), say("Write the foot, or clear the claw."), needs="foot"),
        Contradiction("zone without lesion", "zone", ("zone", "lesion"),
                      lambda f: f["zone"].notna() & f["lesion"].isna(),
                      say("A zone, but no lesion in the row."), WRITE_LESION),
        Contradiction("severity without lesion", "severity", ("severity", "lesion"),
                      lambda f: f["severity"].notna() & f["lesion"].isna(),
                      say("A severity, but no lesion in the row."), WRITE_LESION),
        Contradiction("calving after visit", "calving_date", ("calving_date", "visit_date"),
                      _later("calving_date", "visit_date"),
                      say("The calving is later than the visit."), say("Correct one of the two dates.")),
        Contradiction("recheck before visit", "recheck_on", ("visit_date", "recheck_on"),
                      _later("visit_date", "recheck_on"),
                      say("The recheck is earlier than the visit."), say("Correct one of the two dates.")),
        Contradiction("recheck far ahead", "recheck_on", ("visit_date", "recheck_on"),
                      lambda f: (f["recheck_on"] - f["visit_date"]).dt.days > LONGEST_RECHECK_DAYS,
                      say("The recheck is more than three years after the "
                      "visit."), say("Correct one of the two dates.")),
        Contradiction("score off scale", "locomotion_score", ("locomotion_score", "locomotion_scale"),
                      lambda f: ~is_on_scale(f["locomotion_score"], f["locomotion_scale"]),
                      say("The score is not on its scale (1-5 or 0-3)."), say("Correct the score, or name its scale.")),
        Contradiction("longer after trim", "toe_length_after_mm", ("toe_length_after_mm", "toe_length_mm"),
                      _later("toe_length_after_mm", "toe_length_mm"),
                      say("The toe is longer after the trim than before."), say("Correct one of the two lengths.")),
    ),
    "locomotion": (
        Contradiction("score off scale", "score", ("score", "scale"), lambda f: ~is_on_scale(f["score"], f["scale"]),
                      say("The score is not on its scale (1-5 or 0-3)."), say("Correct the score, or name its scale.")),
    ),
    "register": (
        Contradiction("left before entry", "left_on", ("entered_on", "left_on"), _later("entered_on", "left_on"),
                      say("She left before she came."), say("Correct one of the two dates.")),
        Contradiction("entry before birth", "entered_on", ("birth_date", "entered_on"),
                      _later("birth_date", "entered_on"),
                      say("She came before she was born."), say("Correct one of the two dates.")),
        Contradiction("left before birth", "left_on", ("birth_date", "left_on"), _later("birth_date", "left_on"),
                      say("She left before she was born."), say("Correct one of the two dates.")),
        Contradiction("calved before birth", "calvings", ("birth_date", "calvings"),
                      lambda f: _both(f, "birth_date", "calvings")
                      & (f["birth_date"].dt.strftime("%Y-%m-%d") >= f["calvings"].str.slice(0, 10)),
                      say("She calved before she was born."), say("Correct one of the two dates.")),
    ),
    "housing": (
        Contradiction("ends before start", "ends_on", ("starts_on", "ends_on"), _later("starts_on", "ends_on"),
                      say("The period ends before it starts."), say("Correct one of the two dates.")),
    ),
    "changes": (),
    "limits": (
        Contradiction("limit out of range", "value", ("limit", "value"), _beyond_possible,
                      say("The limit cannot be set to this."),
                      say("Toe and break are in mm, the angle in degrees, the sole in mm: correct the value."),
                      needs="limit"),
        Contradiction("half a range", "parity_last", ("parity_first", "parity_last"),
                      lambda f: f["parity_first"].notna() != f["parity_last"].notna(),
                      say("Only one end of the lactations is given."),
                      say("Write the first and the last lactation, or neither.")),
        Contradiction("turned range", "parity_last", ("parity_first", "parity_last"),
                      _later("parity_first", "parity_last"),
                      say("The last lactation is before the first."), say("Correct one of the two.")),
    ),
    "counts": (
        Contradiction("more cases than looked at", "cases", ("cases", "looked_at"), _later("cases", "looked_at"),
                      say("More had it than were looked at."), say("Correct one of the two numbers.")),
        Contradiction("more looked at than the herd", "looked_at", ("looked_at", "herd_size", "unit"),
                      lambda f: (f["unit"].fillna("cows") == "cows") & (f["looked_at"] > f["herd_size"]),
                      say("More cows were looked at than are in the herd."), say("Correct one of the two numbers.")),
    ),
}  # fmt: skip


def impossible(kind: str, frame: pd.DataFrame, today: dt.date, unread: Sequence[Problem] = ()) -> list[Problem]:
    """Everything in a typed frame that cannot be so.

    Parameters
    ----------
    kind : str
    frame : pandas.DataFrame
        The canonical columns of the kind, on a plain 0-based index.
    today : datetime.date
    unread : sequence of Problem
        The cells that could not be read, and so are missing from the frame.

    Returns
    -------
    list of Problem
        One for each field and reason that some row has.
    """
    found = [problem for name in frame.columns for problem in _out_of_bounds(name, frame[name], today)]
    for rule in CONTRADICTIONS[kind]:
        wrong = _holds(rule.holds(frame))
        for problem in unread:
            if rule.needs and problem.field == rule.needs:
                wrong[problem.positions] = False
        found.append(Problem(np.flatnonzero(wrong), rule.field, rule.reason, rule.remedy))
    return [problem for problem in found if len(problem.positions)]


def _out_of_bounds(name: str, values: pd.Series, today: dt.date) -> Iterator[Problem]:
    """Cells of one field that are too small, too large, too early or still to come."""
    if name in RANGES:
        low, high, unit = RANGES[name]
        remedy = say("Correct it.")
        if unit == "mm":
            remedy = say("Correct it. A length in inches or cm needs a heading ending in _in or _cm.")
        if unit:
            reason = say("It must be from {low:,} to {high:,} {unit}.", low=low, high=high, unit=say(unit))
        else:
            reason = say("It must be from {low:,} to {high:,}.", low=low, high=high)
        yield Problem(np.flatnonzero(_holds((values < low) | (values > high))), name, reason, remedy)
    if name in NOT_BEFORE_1980:
        reason = say("The date is before {year}.", year=str(EARLIEST.year))
        yield Problem(np.flatnonzero(_holds(values < pd.Timestamp(EARLIEST))), name, reason, _DATE_REMEDY)
    if name in SAME_DAY_OR_EARLIER:
        reason = say("The date is still to come.")
        yield Problem(np.flatnonzero(_holds(values > pd.Timestamp(today))), name, reason, _DATE_REMEDY)


def _holds(facts: pd.Series) -> npt.NDArray[np.bool_]:
    """Where a fact holds; it does not where a value is missing."""
    return np.array(facts.fillna(False), dtype=bool)
