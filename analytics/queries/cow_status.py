"""What is known of every cow in the herd on a day, for saying who is due.

Every kind of visit counts, up to that day. What the sheets say of later days (a recheck asked for) is kept.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import Question, built_once, fetch, fetch_many, question_of, table
from evenfoot.analytics.queries.filters import NOT_RECORDED, of_farm_and_period
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.locomotion_scores import one_scoring_a_day
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir

GONE_AFTER_DAYS = 548
"""A cow without a register entry that was not seen for a year and a half is taken to have left.
[common practice, no source]"""

RECENT_DAYS = 60
"""A finding older than this no longer says what a cow needs now. [common practice, no source]"""

SCORE_DAYS = 60
"""A locomotion score older than this no longer says that a cow is lame now. [common practice, no source]"""

RETURNING_DAYS = 365
RETURNING_TIMES = 3
"""The same lesion on the same foot on this many days within a year is a case that keeps coming back.
[common practice, no source]"""

FOR_THE_VETERINARIAN = ("IP", "TN")
"""Interdigital phlegmon and toe necrosis: deep or spreading infection. [common practice, no source]"""

LASTING = ("TN",)
"""Of those, what does not heal by itself: it stays open until the cow is looked at again, for RETURNING_DAYS at most.
[common practice, no source]"""

COW = ["farm", "cow"]
PLACE = ["foot", "claw", "lesion", "action", "recheck_on"]
"""What a record says beside its day: where, what, what was done and when to look again."""


@dataclass(frozen=True)
class KnownHerd:
    """The cows in the herd on a day, and the records that each reason to see a cow rests on.

    Attributes
    ----------
    cows : pandas.DataFrame
        farm, cow; group, housing, parity, breed; calved_on; looked_on (last trim visit of any kind), trimmed_on (last
        one that was not a lame-cow call or recheck); scored_on, score, scale, lame, severe (newest scoring); deep_on,
        thin_on, refer_on, returning_on, repeat_on, repeat_lesion, recheck_on, block_on (dates of what is open, or
        missing); horn_on, stage_low, stage_high, sole_mm, sole_foot, sole_claw, break_mm, break_foot, break_claw,
        horn_lame (newest day with a horn reading).
    places : pandas.DataFrame
        farm, cow, kind (deep, thin, refer, returning, repeat, recheck, block, or newest: what was found at her newest
        look within RECENT_DAYS), found_on and the columns of ``PLACE``: one row a place.
    """

    cows: pd.DataFrame
    places: pd.DataFrame


def newest_record(ledger: Ledger, selection: Selection) -> dt.date | None:
    """The day of the newest trim or score of the farms selected."""
    return record_days(ledger, selection)[1]


def record_days(
    ledger: Ledger, selection: Selection, until: dt.date | None = None
) -> tuple[dt.date | None, dt.date | None]:
    """The days of the first and the newest trim or score of the farms selected, up to *until*."""
    row = fetch(ledger, _days(_everything(selection, until))).iloc[0]
    first, last = (None if pd.isna(day) else pd.Timestamp(day).date() for day in (row["first"], row["last"]))
    return first, last


@built_once
def _days(selection: Selection) -> Question:
    days = [of_farm_and_period(name, selection) for name in ("trims", "scores")]
    both = ibis.union(*(each.select("visit_date") for each in days))
    return question_of(both.agg(first=both.visit_date.min(), last=both.visit_date.max()))


def visit_days(ledger: Ledger, selection: Selection, on: dt.date) -> pd.DataFrame:
    """How many days of each kind of visit a farm has had by a day: farm, visit_kind, days."""
    return fetch(ledger, _visit_days(_everything(selection, on)))


@built_once
def _visit_days(selection: Selection) -> Question:
    seen = of_farm_and_period("trims", selection)
    days = seen.select("farm", "visit_kind", "visit_date").distinct()
    return question_of(days.group_by(["farm", "visit_kind"]).agg(days=days.count()))


def farms_of(ledger: Ledger, selection: Selection) -> int:
    """How many farms of a selection have cows."""
    return int(fetch(ledger, _farms(selection))["farms"].iloc[0])


@built_once
def _farms(selection: Selection) -> Question:
    cows = _of_farms("cows", selection)
    return question_of(cows.agg(farms=cows.farm.nunique()))


def _everything(selection: Selection, on: dt.date | None) -> Selection:
    return Selection(farms=selection.farms, cows=selection.cows, allowed=selection.allowed, until=on, visits=("all",))


def _of_farms(name: str, selection: Selection) -> ir.Table:
    """A table without visit dates narrowed to the farms (and cows) of a selection."""
    base = table(name)
    if selection.farms:
        base = base.filter(base.farm.isin(selection.farms))
    if selection.allowed is not None:
        base = base.filter(base.farm.isin(selection.allowed) if selection.allowed else ibis.literal(False))
    if selection.cows and "cow" in base.columns:
        base = base.filter(base.cow.isin(selection.cows))
    return base


def herd_on(ledger: Ledger, selection: Selection, on: dt.date) -> pd.DataFrame:
    """The cows in the herd on a day, each with where she stands; as ``cows`` of :class:`KnownHerd`."""
    return known_on(ledger, selection, on).cows


def known_on(ledger: Ledger, selection: Selection, on: dt.date) -> KnownHerd:
    """The cows in the herd on a day and what was known of each by then."""
    frames = fetch_many(ledger, _questions(selection, on))
    today = pd.Timestamp(on)
    herd = frames["cows"]
    for name in ("looks", "group", "calved", "score", "horn"):
        herd = herd.merge(frames[name], on=COW, how="left")
    asked = _dated(frames["asked"])
    for column, rows in (("block_on", asked[asked["action"] == "block"]), ("recheck_on", asked)):
        day = rows["recheck_on"] if column == "recheck_on" else rows["found_on"]
        first = rows.assign(day=day).groupby(COW, as_index=False).agg(**{column: ("day", "min")})
        herd = herd.merge(first, on=COW, how="left")
    referred = _dated(frames["referred"])
    herd = herd.merge(referred.groupby(COW, as_index=False).agg(refer_on=("found_on", "max")), on=COW, how="left")
    herd = _here(herd, today)
    herd, found = _with_findings(herd, _dated(frames["findings"]), today)
    herd = _standing(herd, frames["housing"])
    herd["parity"] = herd["calvings"].where(herd["registered"] & herd["calvings"].notna(), herd["parity_seen"])
    herd["breed"] = herd["breed"].where(herd["breed"].notna(), herd.pop("breed_seen"))
    wanted = {"group": selection.groups, "breed": selection.breeds, "housing": selection.housing}
    for name, values in wanted.items():
        if values:
            herd = herd[herd[name].fillna(NOT_RECORDED).isin(values)]
    open_rows = {
        "block": asked[asked["action"] == "block"],
        "recheck": asked[asked["recheck_on"].notna()],
        "refer": _newest_day(referred),
    }
    places = pd.concat([*(rows.assign(kind=kind) for kind, rows in open_rows.items()), found], ignore_index=True)
    return KnownHerd(herd.sort_values(COW).reset_index(drop=True), places[[*COW, "kind", "found_on", *PLACE]])


def _dated(rows: pd.DataFrame) -> pd.DataFrame:
    return rows.assign(found_on=pd.to_datetime(rows["found_on"]), recheck_on=pd.to_datetime(rows["recheck_on"]))


def _newest_day(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows of the newest day of each cow."""
    return rows[rows["found_on"] == rows.groupby(COW)["found_on"].transform("max")]


@built_once
def _questions(selection: Selection, on: dt.date) -> dict[str, Question]:
    known = _everything(selection, on)
    seen = of_farm_and_period("trims", known)
    # A cow that her sheet does not list was looked at, and not trimmed.
    seen = seen.filter(seen.kind_from.fill_null("") != "unlisted")
    rows = of_farm_and_period("trim_rows", known)
    recent = on - dt.timedelta(days=RECENT_DAYS)
    routine = ~seen.visit_kind.fill_null("unknown").isin(["lame-cow", "recheck"])
    looks = seen.group_by(COW).agg(
        looked_on=seen.visit_date.max(),
        trimmed_on=seen.visit_date.max(where=routine),
        group_seen=seen.group.argmax(seen.visit_date),
        group_seen_on=seen.visit_date.max(where=seen.group.notnull()),
        housing_seen=seen.housing.argmax(seen.visit_date),
        parity_seen=seen.parity.argmax(seen.visit_date),
        breed_seen=seen.breed.argmax(seen.visit_date),
    )
    moves = _of_farms("moves", selection)
    moves = moves.filter(moves.moved_on <= on)
    calvings = _of_farms("calvings", selection)
    calvings = calvings.filter(calvings.calved_on <= on)
    day = one_scoring_a_day(known)
    window = ibis.window(group_by=COW, order_by=ibis.desc("visit_date"))
    newest = day.mutate(place=ibis.row_number().over(window)).filter(lambda t: t.place == 0)
    found = of_farm_and_period("findings", known.with_(since=on - dt.timedelta(days=RETURNING_DAYS)))
    referred = rows.filter(rows.action == "refer", rows.visit_date >= recent)
    asked_again = rows.filter((rows.action == "block") | rows.recheck_on.notnull())
    housing = _of_farms("housing_rows", selection)
    asked = {
        "cows": _of_farms("cows", selection).select(*COW, "breed", "registered", "entered_on", "left_on"),
        "looks": looks,
        "group": moves.group_by(COW).agg(group=moves.group.argmax(moves.moved_on), moved_on=moves.moved_on.max()),
        "calved": calvings.group_by(COW).agg(calved_on=calvings.calved_on.max(), calvings=calvings.count()),
        "score": newest.select(*COW, "lame", "severe", "score", "scale", scored_on="visit_date"),
        "findings": found.select(*COW, *PLACE, found_on="visit_date").distinct(),
        "referred": referred.select(*COW, *PLACE, found_on="visit_date").distinct(),
        "asked": _not_looked_at_since(asked_again, seen),
        "horn": _newest_horn(known),
        "housing": housing.filter(housing.starts_on <= on, housing.ends_on.isnull() | (housing.ends_on >= on)).select(
            "farm", "group", "starts_on", "housing"
        ),
    }
    return {name: question_of(each) for name, each in asked.items()}


def _not_looked_at_since(rows: ir.Table, seen: ir.Table) -> ir.Table:
    """The rows of trims whose foot was not looked at on a later day; without a foot, whose cow was not."""
    put = rows.select(*COW, *PLACE, found_on="visit_date").distinct()
    later = seen.select("visit_date", "seen_lf", "seen_rf", "seen_lh", "seen_rh", of_farm="farm", of_cow="cow")
    met = put.join(later, [put.farm == later.of_farm, put.cow == later.of_cow, later.visit_date > put.found_on])
    looked = ibis.cases(
        *((met.foot == foot, met[f"seen_{foot.lower()}"] == 1) for foot in ("LF", "RF", "LH", "RH")), else_=True
    )
    off = met.filter(looked).select(*COW, "foot", "found_on").distinct()
    off = off.rename(off_farm="farm", off_cow="cow", off_foot="foot", off_on="found_on")
    same_foot = put.foot.fill_null("") == off.off_foot.fill_null("")
    return put.anti_join(off, [put.farm == off.off_farm, put.cow == off.off_cow, same_foot, put.found_on == off.off_on])


def _newest_horn(known: Selection) -> ir.Table:
    base = of_farm_and_period("horn_readings", known)
    day = base.group_by([*COW, "visit_date"]).agg(
        stage_low=base.shed_stage.min(),
        stage_high=base.shed_stage.max(),
        sole_mm=base.sole_thickness_mm.min(),
        sole_foot=base.foot.argmin(base.sole_thickness_mm),
        sole_claw=base.claw.argmin(base.sole_thickness_mm),
        break_mm=base.toe_break_mm.max(),
        break_foot=base.foot.argmax(base.toe_break_mm),
        break_claw=base.claw.argmax(base.toe_break_mm),
        horn_lame=base.lame.max(),
    )
    window = ibis.window(group_by=COW, order_by=ibis.desc("visit_date"))
    newest = day.mutate(place=ibis.row_number().over(window)).filter(lambda t: t.place == 0)
    return newest.drop("place").rename(horn_on="visit_date")


def toes_on(ledger: Ledger, selection: Selection, on: dt.date) -> pd.DataFrame:
    """The newest toe length of every claw by a day: farm, cow, foot, claw, read_on, left_mm.

    ``left_mm`` is the length as left, or as found where the sheet does not say what was left.
    """
    newest = fetch(ledger, _toes(_everything(selection, on)))
    return newest.sort_values([*COW, "foot", "claw"]).reset_index(drop=True)


@built_once
def _toes(selection: Selection) -> Question:
    base = of_farm_and_period("horn_readings", selection)
    base = base.mutate(left_mm=ibis.coalesce(base.toe_length_after_mm, base.toe_length_mm))
    base = base.filter(base.left_mm.notnull())
    per_claw = base.group_by([*COW, "foot", "claw"])
    return question_of(per_claw.agg(read_on=base.visit_date.max(), left_mm=base.left_mm.argmax(base.visit_date)))


def whereabouts(ledger: Ledger, selection: Selection, on: dt.date) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Moves of the cows by a day (farm, cow, moved_on, group), and every housing period of their farms that began by it
    (farm, group, starts_on, ends_on, housing), each oldest first.
    """
    frames = fetch_many(ledger, _whereabouts(_everything(selection, on), on))
    moved = frames["moves"].assign(moved_on=lambda f: pd.to_datetime(f["moved_on"]))
    stood = frames["periods"].assign(
        starts_on=lambda f: pd.to_datetime(f["starts_on"]), ends_on=lambda f: pd.to_datetime(f["ends_on"])
    )
    return moved.sort_values([*COW, "moved_on"]), stood.sort_values(["farm", "group", "starts_on"], na_position="first")


@built_once
def _whereabouts(selection: Selection, on: dt.date) -> dict[str, Question]:
    moves = _of_farms("moves", selection)
    periods = _of_farms("housing_rows", selection)
    stood = periods.filter(periods.starts_on <= on).select("farm", "group", "starts_on", "ends_on", "housing")
    return {
        "moves": question_of(moves.filter(moves.moved_on <= on).select(*COW, "moved_on", "group")),
        "periods": question_of(stood),
    }


def _here(herd: pd.DataFrame, today: pd.Timestamp) -> pd.DataFrame:
    """In the herd: registered and not left, or come again after she left; else seen within GONE_AFTER_DAYS."""
    dates = (
        "entered_on", "left_on", "looked_on", "trimmed_on", "calved_on", "scored_on", "refer_on", "recheck_on",
        "block_on", "horn_on", "moved_on", "group_seen_on",
    )  # fmt: skip
    herd = herd.assign(**{name: pd.to_datetime(herd[name]) for name in dates})
    herd["registered"] = herd["registered"].fillna(False).astype(bool)
    seen_on = herd[["looked_on", "scored_on"]].max(axis=1)
    lately = seen_on >= today - pd.Timedelta(days=GONE_AFTER_DAYS)
    entered = herd["entered_on"].isna() | (herd["entered_on"] <= today)
    stays = herd["left_on"].isna() | (herd["left_on"] > today) | (herd["entered_on"] > herd["left_on"])
    return herd[entered & stays & (herd["registered"] | lately)].drop(columns="left_on")


def _with_findings(herd: pd.DataFrame, found: pd.DataFrame, today: pd.Timestamp) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The herd with the dates of thin soles and deep infections that are recent, of cases that return, and of those
    found twice; and the findings these and her newest look rest on, with their kind.
    """
    fresh = found[found["found_on"] >= today - pd.Timedelta(days=RECENT_DAYS)]
    at_last_look = fresh.merge(herd[[*COW, "looked_on"]], on=COW)
    at_last_look = at_last_look[at_last_look["found_on"] == at_last_look["looked_on"]]
    parts = [at_last_look.drop(columns="looked_on").assign(kind="newest")]
    looked_on = found[COW].merge(herd[[*COW, "looked_on"]], on=COW, how="left")["looked_on"].to_numpy()
    unseen_since = found["lesion"].isin(LASTING) & (found["found_on"] >= looked_on)
    deep = pd.concat([fresh[fresh["lesion"].isin(FOR_THE_VETERINARIAN)], found[unseen_since]]).drop_duplicates()
    for kind, open_now in (("deep", deep), ("thin", fresh[fresh["lesion"] == "TS"])):
        part = _newest_day(open_now).assign(kind=kind)
        last = part.groupby(COW, as_index=False).agg(**{f"{kind}_on": ("found_on", "max")})
        herd = herd.merge(last, on=COW, how="left")
        parts.append(part)
    sited = found[found["foot"].notna()]
    case = [*COW, "foot", "lesion"]
    counted = sited.drop_duplicates([*case, "found_on"]).groupby(case, as_index=False)
    cases = counted.agg(times=("found_on", "size"), last=("found_on", "max"))
    within = sited[sited["found_on"] > today - pd.Timedelta(days=RETURNING_DAYS)]
    counted = within.drop_duplicates([*case, "found_on"]).groupby(case, as_index=False)
    returning = counted.agg(times=("found_on", "size"), last=("found_on", "max"))
    returning = returning[returning["times"] >= RETURNING_TIMES]
    returning = returning[returning["last"] == returning.groupby(COW)["last"].transform("max")]
    twice = cases[cases["times"] >= 2].sort_values(["last", "times", "lesion"], ascending=[False, False, True])
    twice = twice.drop_duplicates(COW)
    for kind, chosen in (("returning", returning), ("repeat", twice)):
        parts.append(sited.merge(chosen.rename(columns={"last": "found_on"})[[*case, "found_on"]]).assign(kind=kind))
    last = returning.groupby(COW, as_index=False).agg(returning_on=("last", "max"))
    herd = herd.merge(last, on=COW, how="left")
    twice = twice.rename(columns={"last": "repeat_on", "lesion": "repeat_lesion"})
    herd = herd.merge(twice[[*COW, "repeat_on", "repeat_lesion"]], on=COW, how="left")
    return herd, pd.concat(parts, ignore_index=True)


def _standing(herd: pd.DataFrame, periods: pd.DataFrame) -> pd.DataFrame:
    """Where each cow stands: in the group that the newest record puts her in, a move of the register or a trim sheet;
    housed as the period of that group says, else that of her farm, else her last sheet.
    """
    moved = herd["group"].notna() & (herd["group_seen"].isna() | (herd["moved_on"] >= herd["group_seen_on"]))
    herd["group"] = herd["group"].where(moved, herd["group_seen"])
    newest = periods.sort_values("starts_on").drop_duplicates(["farm", "group"], keep="last")
    own = newest[newest["group"].notna()].rename(columns={"housing": "own_housing"})
    whole = newest[newest["group"].isna()].rename(columns={"housing": "farm_housing"})
    herd = herd.merge(own[["farm", "group", "own_housing"]], on=["farm", "group"], how="left")
    herd = herd.merge(whole[["farm", "farm_housing"]], on="farm", how="left")
    housing = herd["own_housing"].where(herd["own_housing"].notna(), herd["farm_housing"])
    herd["housing"] = housing.where(housing.notna(), herd["housing_seen"])
    return herd.drop(columns=["own_housing", "farm_housing", "housing_seen", "group_seen", "group_seen_on", "moved_on"])
