"""Spells of a lesion: when it first shows in one place and when it was last seen before it had gone.

Rows of the same lesion in the same place (a cow, or one of her claws) that follow each other sooner than a
gap are one case that has not healed. A row after the gap begins a new one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.engine import Question, aggregated, built_once, question_of, table
from evenfoot.analytics.queries.filters import findings, grouped, trims
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir

GAP_DAYS = 90
"""Days without the lesion after which it counts as a new case. [common practice, no source]"""

PLACES = ("cow", "claw")
"""Where a lesion has to be the same one: anywhere on the cow, or on one claw."""

OF_EPISODE = (
    "farm", "month", "quarter", "season", "year", "housing", "floor", "bedding", "wetness", "group", "parity",
    "breed", "sire", "lesion", "family", "severity", "action", "foot", "limb", "claw",
)  # fmt: skip
"""Groupings an episode can have, as they were on one of its days."""

_CARRIED = (
    "group",
    "housing",
    "floor",
    "bedding",
    "wetness",
    "parity",
    "breed",
    "sire",
    "family",
    "severity",
    "action",
)


def checked_gap(gap_days: int) -> int:
    """The gap, or a UserError when it is not a number of days.

    Raises
    ------
    UserError
        It is below 1.
    """
    if gap_days < 1:
        raise UserError(
            say(
                "A gap of {gap_days} days is not possible; give 1 day or more, such as --gap-days 90.",
                gap_days=gap_days,
            )
        )
    return int(gap_days)


def _of_lesions(selection: Selection, place: str) -> ir.Table:
    """The findings of :func:`lesion_days`, each with its place and ``asked``."""
    if place not in PLACES:
        raise UserError(say("New cases are counted per cow or per claw, not per '{place}'.", place=place))
    base = findings(
        selection.with_(
            since=None, visits=("all",), groups=(), housing=(), floor=(), seasons=(), parity=(), breeds=(),
            trimmers=(), severity=(),
        )
    )  # fmt: skip
    asked: ir.BooleanValue = ibis.literal(True)
    if not selection.all_visits:
        asked = asked & base.visit_kind.fill_null("unknown").isin(selection.visits)
    if selection.severity:
        asked = asked & base.severity.isin(selection.severity).fill_null(False)
    if selection.trimmers:
        asked = asked & base.trimmer.isin(selection.trimmers).fill_null(False)
    base = base.mutate(asked=asked.cast("int64"))
    if place == "claw":
        base = base.filter(base.foot.notnull())
        base = base.mutate(place=base.foot + ibis.coalesce(base.claw, ibis.literal("")))
    else:
        base = base.mutate(place=ibis.literal(""))
    return base


def lesion_days(selection: Selection, place: str) -> ir.Table:
    """One row a lesion, place and day, in every kind of visit and from the first record on.

    Columns: farm, cow, place, lesion, visit_date, the attributes of that day, foot, limb and claw, and
    ``asked`` (1 where the selection's visits, severity and trimmers take the row in). A lesion of the skin
    names no claw, so its place is the foot.

    Raises
    ------
    UserError
        *place* is neither ``cow`` nor ``claw``.
    """
    base = _of_lesions(selection, place)
    return base.group_by(["farm", "cow", "place", "lesion", "visit_date"]).agg(
        asked=base.asked.max(),
        **{name: base[name].max() for name in _CARRIED},
        **{name: base[name].max() for name in ("foot", "limb", "claw")},
    )


def _of_attributes(base: ir.Table, selection: Selection) -> ir.Table:
    """Only the days on which the cow was as the selection asks."""
    fields = {
        "group": selection.groups,
        "housing": selection.housing,
        "floor": selection.floor,
        "breed": selection.breeds,
        "parity": selection.parity,
        "season": selection.seasons,
    }
    for name, wanted in fields.items():
        if wanted:
            base = base.filter(grouped(base, name, selection).isin(wanted))
    return base


def _by_columns(base: ir.Table, by: tuple[str, ...], selection: Selection) -> dict[str, ir.Value]:
    out: dict[str, ir.Value] = {}
    for name in by:
        if name not in OF_EPISODE:
            raise UserError(
                say(
                    "Cases cannot be grouped by '{name}'; use any of {listed}.", name=name, listed=", ".join(OF_EPISODE)
                )
            )
        value = base[name].fill_null("none") if name == "action" else grouped(base, name, selection)
        out[f"by_{name}"] = value
    return out


_OF_DAY_ALONE = ("farm", "lesion", "month", "quarter", "season", "year")
"""Groupings and attributes that need nothing of a finding but its farm, lesion and day."""


def _new_days(selection: Selection, place: str, gap_days: int) -> ir.Table:
    """Days on which a lesion is a new case, at a visit asked for: its attributes as :func:`lesion_days` gives them."""
    days = lesion_days(selection, place)
    window = ibis.window(group_by=["farm", "cow", "place", "lesion"], order_by="visit_date")
    days = days.mutate(before=days.visit_date.lag().over(window))
    return days.filter(
        (days.before.isnull() | (days.visit_date.delta(days.before, unit="day") >= gap_days)) & (days.asked == 1)
    )


def _new_days_by_lists(selection: Selection, place: str, gap_days: int) -> ir.Table:
    """The same of farm, cow, place, lesion and visit_date alone, from one sorted list a cow, place and lesion.

    The list holds twice the day, and one more where the finding is not asked for, so that the one asked for comes
    first. It takes half the work of setting the days of all in order.
    """
    base = _of_lesions(selection, place)
    begin = ibis.date(1970, 1, 1)
    at = base.visit_date.delta(begin, unit="day").cast("int64") * 2 + 1 - base.asked
    base = base.mutate(at=at)
    lists = base.group_by(["farm", "cow", "place", "lesion"]).agg(days=base["at"].collect(include_null=True))
    lists = lists.mutate(days=lists.days.sort())
    none = ibis.array([ibis.null("int64")])
    days = lists.select(
        "farm", "cow", "place", "lesion", at=lists.days.unnest(), before=none.concat(lists.days).unnest()
    )
    # The list of those before is one longer. Of a day not asked for before, twice the gap is one less.
    new = days.filter(
        days["at"].notnull() & (days["at"] % 2 == 0)
        & (days.before.isnull() | (days["at"] - days.before >= 2 * gap_days - 1))
    )  # fmt: skip
    return new.mutate(visit_date=(begin + (new["at"] >> 1).as_interval("D")).cast("date"))


@built_once
def new_cases_question(
    selection: Selection,
    by: tuple[str, ...],
    place: str,
    gap_days: int,
    of_lists: bool = False,
    cluster: tuple[str, ...] = (),
) -> Question:
    """SQL of the new cases: the ``by`` columns, new_cases, cows, and ``early``.

    With a *cluster* (``("farm",)`` or ``("farm", "cow")``) each group is split by it, in columns farm_key and cow_key.

    ``early`` counts those within the gap of their farm's first visit of the kinds asked for: nothing was
    written down long enough before to know that they are new. *of_lists*: the engine sorts and lays out lists.
    """
    narrowed = selection.groups or selection.housing or selection.floor or selection.breeds or selection.parity
    plain = set(by) <= set(_OF_DAY_ALONE) and not narrowed and len(selection.farms) != 1
    new = (_new_days_by_lists if of_lists and plain else _new_days)(selection, place, gap_days)
    if selection.since:
        new = new.filter(new.visit_date >= selection.since)
    new = _of_attributes(new, selection)
    first = farm_spans(selection).select("farm", "first")
    new = new.join(first, "farm")
    new = new.mutate(**_by_columns(new, by, selection), early=new.visit_date.delta(new.first, unit="day") < gap_days)
    keys = [f"by_{name}" for name in by]
    # Cow by cow first: to tell the cows of a group apart among all cases takes far longer.
    cows = new.group_by([*keys, "farm", "cow"]).agg(n=new.count(), early=new.early.cast("int64").sum())
    cows = cows.rename(farm_key="farm", cow_key="cow")
    out = aggregated(
        cows,
        [*keys, *(f"{name}_key" for name in cluster)],
        new_cases=cows.n.sum().cast("int64"),
        cows=cows.count(),
        early=cows.early.sum().cast("int64"),
    )
    return question_of(out.rename({name: f"by_{name}" for name in by}))


def farm_spans(selection: Selection) -> ir.Table:
    """First and last visit of each farm, of the kinds asked for, whatever the period: farm, first, last."""
    base = trims(Selection(farms=selection.farms, allowed=selection.allowed, visits=selection.visits))
    return base.group_by("farm").agg(first=base.visit_date.min(), last=base.visit_date.max())


def _episodes(selection: Selection, place: str, gap_days: int) -> ir.Table:
    """One row an episode: farm, cow, place, lesion, begun, seen_on (last), its attributes on that last day,
    severity (the worst), asked, and next_on (when the lesion came back, if it did)."""
    days = lesion_days(selection, place)
    key = ["farm", "cow", "place", "lesion"]
    in_order = ibis.window(group_by=key, order_by="visit_date")
    days = days.mutate(before=days.visit_date.lag().over(in_order))
    begins = days.before.isnull() | (days.visit_date.delta(days.before, unit="day") >= gap_days)
    days = days.mutate(begins=begins.cast("int64"))
    so_far = ibis.window(group_by=key, order_by="visit_date", preceding=None, following=0)
    days = days.mutate(spell=days.begins.sum().over(so_far))
    in_spell = ibis.window(group_by=[*key, "spell"])
    days = days.mutate(
        begun=days.visit_date.min().over(in_spell),
        seen_on=days.visit_date.max().over(in_spell),
        worst=days.severity.max().over(in_spell),
        counted=days.asked.max().over(in_spell),
    )
    last = days.filter(days.visit_date == days.seen_on)
    last = last.mutate(next_on=last.begun.lead().over(ibis.window(group_by=key, order_by="spell")))
    return last.drop("severity", "asked").rename(severity="worst", asked="counted")


@built_once
def recurrence_question(selection: Selection, by: tuple[str, ...], place: str, gap_days: int) -> Question:
    """SQL of the time from an episode's last day to the same lesion again, or to the end of the follow-up.

    One row a group, cow, time and outcome: the ``by`` columns, farm_key, cow_key, entered, days, recurred (0 or 1),
    cases. A cow is followed to her last trim, or to her leaving where that comes first. ``entered`` is the time, in the
    same days, from which she could be seen: 0, or later where she came to the herd after the case was seen elsewhere.
    """
    found = _episodes(selection, place, gap_days)
    if selection.since:
        found = found.filter(found.seen_on >= selection.since)
    found = _of_attributes(found.filter(found.asked == 1), selection)
    found = found.join(_last_seen(selection), ["farm", "cow"])
    found = found.mutate(
        recurred=found.next_on.notnull().cast("int64"),
        days=ibis.coalesce(found.next_on, found.followed_to).delta(found.seen_on, unit="day"),
        entered=ibis.greatest(ibis.coalesce(found.entered_on, found.seen_on).delta(found.seen_on, unit="day"), 0),
        farm_key=found.farm,
        cow_key=found.cow,
        **_by_columns(found, by, selection),
    )
    keys = [*(f"by_{name}" for name in by), "farm_key", "cow_key", "entered", "days", "recurred"]
    out = found.group_by(keys).agg(cases=found.count())
    return question_of(out.rename({name: f"by_{name}" for name in by}))


@built_once
def repeat_cows_question(selection: Selection, gap_days: int) -> Question:
    """SQL of the claws (feet, for lesions of the skin) on which a lesion came back: farm, cow, foot, claw,
    lesion, times (episodes), last (day last seen)."""
    found = _episodes(selection, "claw", gap_days)
    if selection.since:
        found = found.filter(found.seen_on >= selection.since)
    found = _of_attributes(found.filter(found.asked == 1), selection)
    per_place = found.group_by(["farm", "cow", "foot", "claw", "lesion"]).agg(
        times=found.count(), last=found.seen_on.max()
    )
    return question_of(per_place.filter(per_place.times >= 2))


def _last_seen(selection: Selection) -> ir.Table:
    """Farm, cow, the day she was followed to, and entered_on."""
    seen = trims(Selection(farms=selection.farms, allowed=selection.allowed, visits=("all",), until=selection.until))
    last = seen.group_by(["farm", "cow"]).agg(seen_last=seen.visit_date.max())
    cows = table("cows").select("farm", "cow", "left_on", "entered_on")
    both = last.join(cows, ["farm", "cow"], how="left")
    return both.select(
        "farm",
        "cow",
        "entered_on",
        followed_to=ibis.least(both.seen_last, ibis.coalesce(both.left_on, both.seen_last)),
    )
