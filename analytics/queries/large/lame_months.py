"""Lameness by farm and period over many farms, without a row for every cow and day where none is needed.

The scores table has one row a cow, day, person and scale. On a day when one person scored a farm on one scale its rows
are therefore cows, each once, and adding them up by farm and day, of which there are few, says all of scorings. Cows
are looked at one by one only where a farm was scored on several days of a period, to count each once; and the days of
cows only on farms where several people, or scales, share a day.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from evenfoot.analytics.queries.cluster_sums import of_farms
from evenfoot.analytics.queries.filters import grouped, scores
from evenfoot.analytics.queries.large.cow_periods import IN_A_YEAR, cows_by_period, number_of
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.locomotion_scores import one_scoring_a_day
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir

OUTCOMES = ("lame", "severe")

SCALES = {"points": "sum", "pointed": "sum", "unscaled": "sum", "low_scale": "min", "high_scale": "max"}
"""What is known of the scale: the scores added up, how many, scorings without one scale, the first and last scale."""

OF_DAY = ("month", "quarter", "season", "year")
"""Groupings that the day alone decides."""

OF_COWS = ("cow nn", *(f"cow {what} {outcome}" for outcome in OUTCOMES for what in ("mm", "mn")))


def lame_months(
    selection: Selection,
    periods: tuple[str, ...] = ("month",),
    *,
    scales: bool = False,
    of_cows: bool = False,
    use_bitmask: bool = True,
) -> ir.Table:
    """Scorings by farm and period.

    Parameters
    ----------
    selection : Selection
    periods : tuple of str
        Any of ``OF_DAY``, or none.
    scales : bool
        Give ``SCALES`` too.
    of_cows : bool
        Give the sums over cows of every farm. Without, only those of a farm alone in a period are given, which are
        all that limits need when farms are put together; the others are 0.
    use_bitmask : bool
        Whether the engine lays out bits (:data:`evenfoot.analytics.queries.large.bitmask.LAYS_OUT_BITS`); with them the
        cows of a month or quarter are counted in two fifths of the work.

    Returns
    -------
    ibis.Table
        As :func:`evenfoot.analytics.queries.cluster_sums.of_farms` gives it: the periods (month and quarter as their
        first day), farm, n (scorings), lame, severe, their sums over cows, and cows; one row a farm and period with
        scorings.
    """
    rows = scores(selection)
    farms = _of_days(rows, selection, periods)
    keys = [*periods, "farm"]
    closer = farms.filter(farms.most > 1).select("farm")
    if not of_cows:
        closer = closer.union(_alone(farms, periods))
    closer = closer.distinct()

    days = one_scoring_a_day(selection, only=closer)
    days = days.mutate(**{name: grouped(days, name, selection) for name in periods})
    carried = SCALES if scales else None
    by_day = of_farms(cows_of_days(days, list(periods), scales=scales), list(periods), OUTCOMES, carried)

    plain = farms.anti_join(closer, "farm")
    several = plain.filter(plain.days > 1).select("farm").distinct()
    rows = rows.mutate(**{name: grouped(rows, name, selection) for name in periods}).semi_join(several, "farm")
    if use_bitmask and not of_cows and len(periods) == 1 and periods[0] in IN_A_YEAR:
        period = periods[0]
        plain = plain.mutate(at=number_of(plain[period], period))
        met = cows_by_period(rows, ["farm"], period)
        both = plain.left_join(met.select("farm", "at", other_cows=met.n), ["farm", "at"])
    else:
        both = plain.left_join(_cows_once(rows, keys, of_cows), keys)
    # Scored on one day of the period, every scoring is another cow.
    alike = {"cow nn": plain.n, **{f"cow {what} {name}": plain[name] for name in OUTCOMES for what in ("mm", "mn")}}
    cows = {"cows": both.other_cows.fill_null(plain.n)}
    for name in OF_COWS:
        cows[name] = both[f"other {name}"].fill_null(alike[name]) if of_cows else ibis.literal(0, "int64")
    plain = both.select(*keys, "n", *OUTCOMES, *(SCALES if scales else ()), **cows)
    return ibis.union(plain.select(*by_day.columns), by_day)


def _of_days(rows: ir.Table, selection: Selection, periods: tuple[str, ...]) -> ir.Table:
    """Scorings by farm and period, were every row another cow's; ``most`` is 1 where that is sure."""
    each = rows.group_by(["farm", "visit_date", "scorer", "scale"]).agg(
        n=rows.count(),
        **{name: rows[name].sum() for name in OUTCOMES},
        points=rows.score.cast("float64").sum(),
        pointed=rows.score.count(),
    )
    each = each.mutate(unscaled=ibis.cases((each.scale.isnull(), each.n), else_=0))
    days = each.group_by(["farm", "visit_date"]).agg(
        together=each.count(),
        **{name: each[name].sum() for name in ("n", *OUTCOMES, "points", "pointed", "unscaled")},
        low_scale=each.scale.min(),
        high_scale=each.scale.max(),
    )
    days = days.mutate(**{name: grouped(days, name, selection) for name in periods})
    return days.group_by([*periods, "farm"]).agg(
        # Sums come back wider than they are added up quickly.
        **{name: days[name].sum().cast("int64") for name in ("n", *OUTCOMES)},
        most=days.together.max(),
        days=days.count(),
        **{name: getattr(days[name], how)() for name, how in SCALES.items()},
    )


def _alone(farms: ir.Table, periods: tuple[str, ...]) -> ir.Table:
    """Farms that are the only one scored in some period."""
    met = {"farm": farms.farm.min(), "farms": farms.count()}
    each = farms.group_by(list(periods)).agg(**met) if periods else farms.agg(**met)
    return each.filter(each.farms == 1).select("farm")


def _cows_once(rows: ir.Table, keys: list[str], of_cows: bool) -> ir.Table:
    """Cows, and where asked their sums, by the keys; names begin with ``other``."""
    if not of_cows:
        once = rows.select(*keys, "cow").distinct()
        return once.group_by(keys).agg(other_cows=once.count())
    cows = rows.group_by([*keys, "cow"]).agg(
        n=rows.count(), **{name: rows[name].sum().cast("int32") for name in OUTCOMES}
    )
    found = of_farms(cows, [key for key in keys if key != "farm"], OUTCOMES)
    return found.select(*keys, other_cows=found.cows, **{f"other {name}": found[name] for name in OF_COWS})


def cows_of_days(days: ir.Table, keys: list[str], *, scales: bool = False) -> ir.Table:
    """The days of :func:`one_scoring_a_day` counted by the keys, farm and cow: n, lame, severe, and ``SCALES``."""
    each = days.group_by([*keys, "farm", "cow"])
    counted = {"n": days.count(), "lame": days.lame.sum(), "severe": days.severe.sum()}
    return scales_of(days, each, counted) if scales else each.agg(**counted)


def scales_of(base: ir.Table, each: ir.GroupedTable, counted: dict[str, ir.Value] | None = None) -> ir.Table:
    """Days grouped, with what is *counted* of each group and ``SCALES``."""
    return each.agg(
        **(counted or {}),
        points=base.score.cast("float64").sum(),
        pointed=base.score.count(),
        unscaled=base.scale.isnull().sum(),
        low_scale=base.scale.min(),
        high_scale=base.scale.max(),
    )
