"""Horn measurements gathered for counting: one row a claw and day, turned into one long table of values.

Every figure of the state of horn, whether a length, a difference between the claws of a foot or a share, is
a value of a unit (a claw or a foot on a day). So they are put under each other and summed by cow in one go.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from evenfoot.analytics.domain.horn_limits import LIMITS, HornLimits
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.engine import Question, built_once, fetch, fetch_many, question_of, table
from evenfoot.analytics.queries.filters import NOT_RECORDED, OF_SITE, OF_TRIM, grouped, of_farm_and_period, of_visits
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir

MEASURED = ("toe_length_mm", "toe_angle_deg", "heel_depth_mm", "sole_thickness_mm", "toe_break_mm")
"""What is read off a claw."""

BETWEEN_CLAWS = {
    "toe_length_mm": "toe_difference_mm",
    "heel_depth_mm": "heel_difference_mm",
    "sole_thickness_mm": "sole_difference_mm",
    "shed_stage": "shed_difference",
}
"""Reading -> its difference between the two claws of a foot, whichever is the larger."""

SHARES = ("overgrown", "long_toe", "thin_soled", "toe_break", "toe_break_far", "toe_break_lame")
"""Measures that are a share of units and not a mean."""

MEASURES = (*MEASURED[:4], "overgrown", "long_toe", "thin_soled", *BETWEEN_CLAWS.values(), "toe_break_mm", *SHARES[3:])
"""Measures in the order they are shown."""


def known_groupings(by: tuple[str, ...]) -> tuple[str, ...]:
    """The groupings without repeats.

    Raises
    ------
    UserError
        A grouping that horn readings do not have.
    """
    for name in by:
        if name not in (*OF_TRIM, *OF_SITE):
            raise UserError(
                say(
                    "Horn cannot be grouped by '{name}'; use any of {listed}.",
                    name=name,
                    listed=", ".join((*OF_TRIM, *OF_SITE)),
                )
            )
    return tuple(dict.fromkeys(by))


def readings(selection: Selection) -> ir.Table:
    """The horn readings of a selection, one row a trim row with a measurement."""
    base = of_visits(of_farm_and_period("horn_readings", selection), selection)
    keep: list[ir.BooleanValue] = []
    if selection.feet:
        keep.append(base.foot.isin(selection.feet))
    if selection.claws:
        keep.append(base.claw.isin(selection.claws))
    return base.filter(*keep) if keep else base


def group_value(base: ir.Table, name: str, selection: Selection) -> ir.Value:
    """The value of a grouping of horn readings, never missing."""
    value = grouped(base, name, selection)
    return value.fill_null(NOT_RECORDED) if name in OF_SITE else value


def limit_of(base: ir.Table, limits: HornLimits, name: str) -> ir.Value:
    """A limit as a column: what holds for each cow by her farm, breed and lactation."""
    value: ir.Value = ibis.literal(float(getattr(limits, name)))
    for one in limits.exceptions:
        own = getattr(one, name)
        if own is None:
            continue
        holds: ir.BooleanValue = ibis.literal(True)
        if one.farm is not None:
            holds = holds & (base.farm == one.farm)
        if one.breed is not None:
            holds = holds & (base.breed == one.breed)
        if one.parity is not None:
            holds = holds & base.parity.between(*one.parity)
        value = ibis.cases((holds.fill_null(False), float(own)), else_=value)
    return value


def claw_days(selection: Selection, by: tuple[str, ...], limits: HornLimits) -> ir.Table:
    """One row a claw and day: the groupings as ``by_*``, the readings, the limits, and a thin sole on record."""
    base = readings(selection)
    base = base.mutate(
        **{f"by_{name}": group_value(base, name, selection) for name in by},
        **{f"limit_{name}": limit_of(base, limits, name) for name in LIMITS},
    )
    keys = [*(f"by_{name}" for name in by), "farm", "cow", "visit_date", "foot", "claw"]
    claws = base.group_by(keys).agg(
        **{name: base[name].max() for name in (*MEASURED, "shed_stage", "lame")},
        **{f"limit_{name}": base[f"limit_{name}"].max() for name in LIMITS},
    )
    found = table("findings")
    thin = found.filter(found.lesion == "TS", found.foot.notnull())
    thin = thin.group_by(["farm", "cow", "visit_date", "foot"]).agg(
        ts_lateral=(thin.claw.fill_null("lateral") == "lateral").max(),
        ts_medial=(thin.claw.fill_null("medial") == "medial").max(),
    )
    joined = claws.left_join(thin, ["farm", "cow", "visit_date", "foot"])
    on_record = ibis.cases(
        (joined.claw == "lateral", joined.ts_lateral.fill_null(False)),
        (joined.claw == "medial", joined.ts_medial.fill_null(False)),
        else_=False,
    )
    return joined.mutate(ts=on_record).select(*claws.columns, "ts")


def _values(selection: Selection, by: tuple[str, ...], limits: HornLimits) -> ir.Table:
    """The long table: by_*, farm, cow, measure, value."""
    claws = claw_days(selection, by, limits)
    length, angle, sole, broken = (
        claws[name] for name in ("toe_length_mm", "toe_angle_deg", "sole_thickness_mm", "toe_break_mm")
    )
    long = length >= claws.limit_long_toe_mm
    far = broken > claws.limit_toe_break_mm
    parts: dict[str, ir.Value] = {name: claws[name] for name in MEASURED}
    parts |= {
        "overgrown": long,
        "long_toe": ibis.cases((angle.notnull() & length.notnull(), long & (angle < claws.limit_long_toe_angle_deg))),
        "thin_soled": ibis.cases((sole.notnull(), (sole < claws.limit_thin_sole_mm) | claws.ts)),
        "toe_break": ibis.cases((length.notnull() | broken.notnull(), broken.notnull())),
        "toe_break_far": ibis.cases((broken.notnull(), far)),
        "toe_break_lame": ibis.cases((broken.notnull() & claws.lame.notnull(), claws.lame == 1)),
    }
    keys = [*(f"by_{name}" for name in by), "farm", "cow"]
    rows = [_rows(claws, keys, name, value) for name, value in parts.items()]
    if "claw" not in by:
        rows += _differences(claws, keys)
    return ibis.union(*rows, distinct=False)


def _rows(base: ir.Table, keys: list[str], measure: str, value: ir.Value) -> ir.Table:
    out = base.select(*keys, measure=ibis.literal(measure), value=value.cast("float64"))
    return out.filter(out.value.notnull())


def _differences(claws: ir.Table, keys: list[str]) -> list[ir.Table]:
    both = claws.filter(claws.foot.notnull(), claws.claw.notnull())
    feet = both.group_by([*keys, "visit_date", "foot"]).agg(
        **{
            f"{name}_{claw}": both[name].max(where=both.claw == claw)
            for name in BETWEEN_CLAWS
            for claw in ("lateral", "medial")
        }
    )
    return [
        _rows(feet, keys, measure, (feet[f"{name}_lateral"] - feet[f"{name}_medial"]).abs())
        for name, measure in BETWEEN_CLAWS.items()
    ]


THOUSANDTHS = 1000
"""Readings are added up in thousandths of a millimetre or degree, as whole numbers: floating sums differ in the last
digits with the order in which an engine's threads come in."""

WIDE = "decimal(38, 0)"


def _square(value: ir.Value) -> ir.Value:
    wide = value.cast(WIDE)
    return wide * wide


@built_once
def _question(selection: Selection, by: tuple[str, ...], limits: HornLimits) -> tuple[Question, Question]:
    values = _values(selection, by, limits)
    keys = [*(f"by_{name}" for name in by), "measure"]
    values = values.mutate(value=(values.value * THOUSANDTHS).round().cast("int64"))
    each = values.group_by([*keys, "farm", "cow"]).agg(
        y=values.value.sum().cast(WIDE), n=values.count().cast(WIDE), squares=_square(values.value).sum()
    )
    sums = each.group_by(keys).agg(
        sum_y=each.y.sum().cast("float64") / THOUSANDTHS,
        sum_n=each.n.sum().cast("int64"),
        sum_yy=(each.y * each.y).sum().cast("float64") / THOUSANDTHS**2,
        sum_yn=(each.y * each.n).sum().cast("float64") / THOUSANDTHS,
        sum_nn=(each.n * each.n).sum().cast("int64"),
        cows=each.count(),
        n_farms=each.farm.nunique(),
        squares=each.squares.sum().cast("float64") / THOUSANDTHS**2,
    )
    spread = values.group_by(keys).agg(
        q1=values.value.quantile(0.25) / THOUSANDTHS,
        median=values.value.quantile(0.5) / THOUSANDTHS,
        q3=values.value.quantile(0.75) / THOUSANDTHS,
    )
    names = {name: f"by_{name}" for name in by}
    return question_of(sums.rename(names)), question_of(spread.rename(names))


def horn_sums(ledger: Ledger, selection: Selection, by: tuple[str, ...], limits: HornLimits) -> pd.DataFrame:
    """Every measure summed by cow and spread out.

    Returns
    -------
    pandas.DataFrame
        The ``by`` columns, measure; over cows with values adding up to y in n units: sum_y, sum_n, sum_yy, sum_yn,
        sum_nn, cows; n_farms; and over units: sd, q1, median, q3.
    """
    by = known_groupings(by)
    sums, spread = _question(selection, by, limits)
    frames = fetch_many(ledger, {"sums": sums, "spread": spread})
    frame = frames["sums"].merge(frames["spread"], on=[*by, "measure"], how="left")
    n = frame["sum_n"].astype("float64")
    about = (frame.pop("squares") - frame["sum_y"] ** 2 / n).clip(lower=0.0)
    return frame.assign(sd=(about / (n - 1.0).where(n > 1)) ** 0.5)


def toe_breaks(ledger: Ledger, selection: Selection, limits: HornLimits) -> pd.DataFrame:
    """Toes broken off beyond the ideal line, newest first.

    Returns
    -------
    pandas.DataFrame
        farm, cow, visit_date, foot, claw, toe_break_mm, far (further than the limit), lame (0, 1 or missing where she
        was not scored that day).
    """
    frame = fetch(ledger, _broken(selection, limits))
    order = ["visit_date", "farm", "cow", "foot", "claw"]
    return frame.sort_values(order, ascending=[False, True, True, True, True]).reset_index(drop=True)


@built_once
def _broken(selection: Selection, limits: HornLimits) -> Question:
    claws = claw_days(selection, (), limits)
    broken = claws.filter(claws.toe_break_mm.notnull())
    of_claw = ("farm", "cow", "visit_date", "foot", "claw", "toe_break_mm")
    far = broken.toe_break_mm > broken.limit_toe_break_mm
    return question_of(broken.select(*of_claw, far=far, lame=broken.lame))
