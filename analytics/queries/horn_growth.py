"""From one trim to the next look: pairs of toe lengths, and where the cow stood in the months between."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from evenfoot.analytics.domain.seasons import SEASON_OF_MONTH
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import Question, built_once, fetch_many, in_order, question_of, table
from evenfoot.analytics.queries.filters import NOT_RECORDED
from evenfoot.analytics.queries.horn import group_value, readings
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir

SLICE_DAYS = 10
"""The time between two looks is cut into slices of about this length, each of one season and one housing."""

SHORTEST_DAYS = 14
LONGEST_DAYS = 550
"""Looks closer together tell more of the gauge than of growth; further apart, something was missed in between.
[common practice, no source]"""

LEAST_MM, MOST_MM_PER_MONTH = -6.0, 10.0
"""A toe found this much shorter than it was left, or grown faster than this, is a slip of the pen or another claw.
[common practice, no source]"""

DAYS_A_MONTH = 30.4375

WHILE = ("housing", "floor", "wetness", "group", "season")
"""Groupings that change while the horn grows: the time between two looks is shared out over them."""

_COW = ["farm", "cow", "since", "until"]


@dataclass(frozen=True)
class Growth:
    """Pairs and the time between them.

    ``pairs``: farm, cow, foot, claw, since, until, left_mm, found_mm, months, group columns asked for that hold at the
    second look. ``stays``: farm, cow, since, until, the ``WHILE`` groupings asked for, months.
    ``left_out``: reason -> pairs.
    """

    pairs: pd.DataFrame
    stays: pd.DataFrame
    left_out: dict[str, int]


def _claw_looks(selection: Selection, fixed: tuple[str, ...]) -> ir.Table:
    """One row a claw and day with the length it was left at when looked at before."""
    wide = Selection(farms=selection.farms, allowed=selection.allowed, cows=selection.cows, visits=("all",))
    base = readings(wide)
    base = base.filter(base.foot.notnull(), base.claw.notnull())
    base = base.mutate(**{f"by_{name}": group_value(base, name, selection) for name in fixed})
    keys = ["farm", "cow", "foot", "claw", "visit_date"]
    looks = base.group_by(keys).agg(
        found_mm=base.toe_length_mm.max(),
        after_mm=base.toe_length_after_mm.max(),
        broken=base.toe_break_mm.max(),
        housing=base.housing.max(),
        floor=base.floor.max(),
        wetness=base.wetness.max(),
        group=base.group.max(),
        **{f"by_{name}": base[f"by_{name}"].max() for name in fixed},
    )
    window = ibis.window(group_by=["farm", "cow", "foot", "claw"], order_by="visit_date")
    before = {
        f"{name}_before": looks[name].lag().over(window)
        for name in ("visit_date", "after_mm", "housing", "floor", "wetness", "group")
    }
    return looks.mutate(**before)


def _pairs(selection: Selection, fixed: tuple[str, ...]) -> ir.Table:
    """Every pair of looks with a length left and a length found, and why it is left out where it is."""
    looks = _claw_looks(selection, fixed)
    looks = looks.filter(looks.found_mm.notnull(), looks.after_mm_before.notnull())
    asked = readings(selection.with_(visits=("all",))).select("farm", "cow", "foot", "claw", "visit_date").distinct()
    looks = looks.semi_join(asked, ["farm", "cow", "foot", "claw", "visit_date"])
    looks = looks.rename(until="visit_date", since="visit_date_before", left_mm="after_mm_before")
    looks = looks.mutate(days=looks.until.delta(looks.since, unit="day"))
    months = looks.days / DAYS_A_MONTH
    grown = looks.found_mm - looks.left_mm
    between = _trimmed_between(looks)
    looks = looks.mutate(months=months, grown=grown)
    looks = looks.left_join(between, ["farm", "cow", "since", "until"])
    why = ibis.cases(
        (looks.broken.notnull(), "broken"),
        ((looks.days < SHORTEST_DAYS) | (looks.days > LONGEST_DAYS), "time"),
        (looks.unread > 0, "trimmed"),
        ((looks.grown < LEAST_MM) | (looks.grown > MOST_MM_PER_MONTH * looks.months - LEAST_MM), "impossible"),
        else_="",
    )
    columns = [name for name in looks.columns if not name.endswith("_right") and name != "unread"]
    return looks.mutate(why=why).select(*columns, "why")


def _trimmed_between(looks: ir.Table) -> ir.Table:
    """Spans of a cow in which she was trimmed as a matter of course without that claw being read.

    At a lame-cow call or a recheck toes are not shortened as a rule, so those do not break a pair.
    """
    spans = looks.select(*_COW).distinct()
    other = table("trims")
    kind = other.visit_kind.fill_null("unknown")
    other = other.filter(~kind.isin(["lame-cow", "recheck"])).select(at_farm="farm", at_cow="cow", on="visit_date")
    met = spans.join(
        other,
        [spans.farm == other.at_farm, spans.cow == other.at_cow, other.on > spans.since, other.on < spans.until],
    )
    return met.group_by(_COW).agg(unread=met.on.count())


def _stays(pairs: ir.Table, names: tuple[str, ...], selection: Selection) -> ir.Table:
    """Months a cow stood in each housing and season between two looks."""
    ends = ("housing", "floor", "wetness", "group")
    spans = pairs.group_by(_COW).agg(
        days=pairs.days.max(),
        **{
            f"{name}_{when}": pairs[name + tail].max()
            for name in ends
            for when, tail in (("then", "_before"), ("now", ""))
        },
    )
    spans = spans.mutate(slices=(spans.days / SLICE_DAYS).ceil().cast("int64"))
    cut = spans.mutate(slice=ibis.range(0, spans.slices).unnest())
    cut = cut.mutate(width=cut.days / cut.slices)
    cut = cut.mutate(early=(cut.slice + 0.5) * 2 <= cut.slices, day=_day(cut))
    moves = table("moves").rename(of_farm="farm", of_cow="cow", to_group="group")
    met = cut.join(moves, [cut.farm == moves.of_farm, cut.cow == moves.of_cow, moves.moved_on <= cut.day], how="left")
    kept = list(cut.columns)
    met = met.group_by(kept).agg(by_register=met.to_group.argmax(met.moved_on))
    met = met.mutate(**{f"seen_{name}": value for name, value in _nearer(met, ends).items()})
    met = met.mutate(stood_in=ibis.coalesce(met.by_register, met.seen_group))
    housed = _housed(met)
    both = met.left_join(
        housed,
        [
            met.farm == housed.h_farm,
            met.day == housed.h_day,
            met.stood_in.fill_null("") == housed.h_group.fill_null(""),
        ],
    )
    season = SEASON_OF_MONTH[selection.hemisphere]
    values = {
        "housing": ibis.coalesce(both.h_housing, both.seen_housing, ibis.literal(NOT_RECORDED)),
        "floor": ibis.coalesce(both.h_floor, both.seen_floor, ibis.literal(NOT_RECORDED)),
        "wetness": ibis.coalesce(both.h_wetness, both.seen_wetness, ibis.literal(NOT_RECORDED)),
        "group": both.stood_in.fill_null(NOT_RECORDED),
        "season": both.day.month().cases(*((month, str(name)) for month, name in season.items())),
    }
    both = both.select(*_COW, "width", **{f"while_{name}": values[name] for name in names})
    return both.group_by([*_COW, *(f"while_{name}" for name in names)]).agg(
        # The slices of one span are equally wide, so that this is their sum, whatever order they come in.
        months=both.width.max() * both.count() / DAYS_A_MONTH
    )


def _day(cut: ir.Table) -> ir.Value:
    """The middle day of a slice."""
    return cut.since + ((cut.slice + 0.5) * cut.width).floor().cast("int64").as_interval("D")


def _nearer(met: ir.Table, ends: tuple[str, ...]) -> dict[str, ir.Value]:
    """What the nearer of the two looks says, else the other one."""
    return {
        name: ibis.coalesce(
            ibis.ifelse(met.early, met[f"{name}_then"], met[f"{name}_now"]), met[f"{name}_now"], met[f"{name}_then"]
        )
        for name in ends
    }


def _housed(met: ir.Table) -> ir.Table:
    """How each group stood on each day, from the housing periods; one of the group itself goes before the farm's."""
    days = met.select("farm", "stood_in", "day").distinct()
    periods = table("housing_rows").select(
        "housing", "floor", "wetness", "starts_on", "ends_on", of_farm="farm", of_group="group"
    )
    joined = days.join(periods, [days.farm == periods.of_farm, periods.starts_on <= days.day])
    joined = joined.filter(
        joined.ends_on.isnull() | (joined.ends_on >= joined.day),
        joined.of_group.isnull() | (joined.of_group == joined.stood_in),
    )
    rank = joined.starts_on.delta(ibis.date("1900-01-01"), unit="day") + ibis.ifelse(joined.of_group.isnull(), 0, 10**6)
    joined = joined.mutate(rank=rank)
    return joined.group_by(h_farm="farm", h_group="stood_in", h_day="day").agg(
        h_housing=joined.housing.argmax(joined.rank),
        h_floor=joined.floor.argmax(joined.rank),
        h_wetness=joined.wetness.argmax(joined.rank),
    )


@built_once
def _questions(selection: Selection, fixed: tuple[str, ...], names: tuple[str, ...]) -> dict[str, Question]:
    pairs = _pairs(selection, fixed)
    good = pairs.filter(pairs.why == "")
    return {
        "pairs": question_of(
            good.select(
                *_COW, "foot", "claw", "left_mm", "found_mm", "grown", "months", **{n: f"by_{n}" for n in fixed}
            )
        ),
        "stays": question_of(
            in_order(_stays(good, names, selection).rename({name: f"while_{name}" for name in names}))
        ),
        "why": question_of(pairs.filter(pairs.why != "").group_by("why").agg(pairs=lambda t: t.count())),
    }


def growth_pairs(ledger: Ledger, selection: Selection, by: tuple[str, ...]) -> Growth:
    """Pairs of looks at one claw and what lay between, over all kinds of visit.

    A selection narrows by the second look; the first may lie before its period.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    by : tuple of str
        Groupings that the caller needs: of ``WHILE``, and others that hold at the second look.
    """
    names = tuple(name for name in WHILE if name in by)
    fixed = tuple(name for name in by if name not in WHILE and name not in ("farm", "foot", "claw"))
    frames = fetch_many(ledger, _questions(selection, fixed, names))
    left_out = dict(zip(frames["why"]["why"], frames["why"]["pairs"].astype(int), strict=True))
    # The engine gives rows in whatever order its threads finish; sums made in another order differ in the last digits.
    order = ["farm", "cow", "foot", "claw", "until"]
    return Growth(
        frames["pairs"].sort_values(order).reset_index(drop=True),
        frames["stays"].sort_values([*_COW, *names]).reset_index(drop=True),
        left_out,
    )
