"""What is known of every cow in the herd on a day, for saying who is due: one row a cow, nothing more.

Every kind of visit counts, up to that day. What the sheets say of later days (a recheck asked for) is kept.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import pandas as pd

from analytics.ledger import Ledger
from analytics.tally.engine import Question, built_once, fetch, fetch_many, question_of, table
from analytics.tally.late import ibis
from analytics.tally.narrow import NOT_RECORDED, of_farm_and_period
from analytics.tally.needs import RECENT_DAYS, RETURNING_DAYS, open_rechecks, returning_cases
from analytics.tally.scoring import one_scoring_a_day
from analytics.tally.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir

GONE_AFTER_DAYS = 548
"""A cow without a register entry that was not seen for a year and a half is taken to have left.
[common practice, no source]"""

COW = ["farm", "cow"]


def newest_record(ledger: Ledger, selection: Selection) -> dt.date | None:
    """The day of the newest trim or score of the farms selected."""
    day = fetch(ledger, _newest(_everything(selection, None)))["day"].iloc[0]
    return None if pd.isna(day) else pd.Timestamp(day).date()


@built_once
def _newest(selection: Selection) -> Question:
    days = [of_farm_and_period(name, selection) for name in ("trims", "scores")]
    both = ibis.union(*(each.select("visit_date") for each in days))
    return question_of(both.agg(day=both.visit_date.max()))


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
    """The cows in the herd on a day and what was known of each by then.

    Returns
    -------
    pandas.DataFrame
        farm, cow; group, housing, parity, breed; calved_on; looked_on (last trim visit of any kind), trimmed_on (last
        one that was not a lame-cow call or recheck); scored_on, lame, severe (newest scoring); deep_on, thin_on,
        refer_on, returning_on, repeat_on, repeat_lesion, recheck_on, block_on (dates of what is open, or missing);
        horn_on, stage_low, stage_high, sole_mm, break_mm, horn_lame (newest day with a horn reading).
    """
    frames = fetch_many(ledger, _questions(selection, on))
    today = pd.Timestamp(on)
    herd = frames["cows"]
    for name in ("looks", "group", "calved", "score", "findings", "refer", "recheck", "block", "horn"):
        if name != "findings":
            herd = herd.merge(frames[name], on=COW, how="left")
    herd = _here(herd, today)
    herd = _with_findings(herd, frames["findings"], frames["days"], today)
    herd = _housed(herd, frames["housing"])
    herd["parity"] = herd["calvings"].where(herd["registered"] & herd["calvings"].notna(), herd["parity_seen"])
    for name in ("group", "breed"):
        herd[name] = herd[name].where(herd[name].notna(), herd.pop(f"{name}_seen"))
    wanted = {"group": selection.groups, "breed": selection.breeds, "housing": selection.housing}
    for name, values in wanted.items():
        if values:
            herd = herd[herd[name].fillna(NOT_RECORDED).isin(values)]
    return herd.sort_values(COW).reset_index(drop=True)


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
    sited = found.filter(found.foot.notnull())
    referred = rows.filter(rows.action == "refer", rows.visit_date >= recent)
    last_seen = seen.group_by(COW).agg(seen_on=seen.visit_date.max())
    housing = _of_farms("housing_rows", selection)
    asked = {
        "cows": _of_farms("cows", selection).select(*COW, "breed", "registered", "entered_on", "left_on"),
        "looks": looks,
        "group": moves.group_by(COW).agg(group=moves.group.argmax(moves.moved_on)),
        "calved": calvings.group_by(COW).agg(calved_on=calvings.calved_on.max(), calvings=calvings.count()),
        "score": newest.select(*COW, "lame", "severe", scored_on="visit_date"),
        "findings": found.group_by([*COW, "lesion"]).agg(last=found.visit_date.max()),
        "days": sited.group_by([*COW, "foot", "lesion"]).agg(days=sited.visit_date.collect(distinct=True)),
        "refer": referred.group_by(COW).agg(refer_on=referred.visit_date.max()),
        "recheck": open_rechecks(rows, last_seen).rename(recheck_on="since"),
        "block": _blocks(rows, seen),
        "horn": _newest_horn(known),
        "housing": housing.filter(housing.starts_on <= on, housing.ends_on.isnull() | (housing.ends_on >= on)).select(
            "farm", "group", "starts_on", "housing"
        ),
    }
    return {name: question_of(each) for name, each in asked.items()}


def _blocks(rows: ir.Table, seen: ir.Table) -> ir.Table:
    """Cows with a block put on a foot that was not looked at since: farm, cow, block_on (the oldest one)."""
    put = rows.filter(rows.action == "block").group_by([*COW, "foot"]).agg(on=lambda t: t.visit_date.max())
    later = seen.select("visit_date", "seen_lf", "seen_rf", "seen_lh", "seen_rh", of_farm="farm", of_cow="cow")
    met = put.join(later, [put.farm == later.of_farm, put.cow == later.of_cow, later.visit_date > put.on])
    looked = ibis.cases(
        *((met.foot == foot, met[f"seen_{foot.lower()}"] == 1) for foot in ("LF", "RF", "LH", "RH")), else_=True
    )
    off = met.filter(looked).select(*COW, "foot", "on").distinct()
    off = off.rename(off_farm="farm", off_cow="cow", off_foot="foot", off_on="on")
    same_foot = put.foot.fill_null("") == off.off_foot.fill_null("")
    still = put.anti_join(off, [put.farm == off.off_farm, put.cow == off.off_cow, same_foot, put.on == off.off_on])
    return still.group_by(COW).agg(block_on=still.on.min())


def _newest_horn(known: Selection) -> ir.Table:
    base = of_farm_and_period("horn_readings", known)
    day = base.group_by([*COW, "visit_date"]).agg(
        stage_low=base.shed_stage.min(),
        stage_high=base.shed_stage.max(),
        sole_mm=base.sole_thickness_mm.min(),
        break_mm=base.toe_break_mm.max(),
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
    """In the herd: registered and not left; else seen within GONE_AFTER_DAYS."""
    dates = ("entered_on", "left_on", "looked_on", "trimmed_on", "calved_on", "scored_on", "refer_on", "recheck_on")
    herd = herd.assign(**{name: pd.to_datetime(herd[name]) for name in (*dates, "block_on", "horn_on")})
    herd["registered"] = herd["registered"].fillna(False).astype(bool)
    seen_on = herd[["looked_on", "scored_on"]].max(axis=1)
    lately = seen_on >= today - pd.Timedelta(days=GONE_AFTER_DAYS)
    entered = herd["entered_on"].isna() | (herd["entered_on"] <= today)
    stays = herd["left_on"].isna() | (herd["left_on"] > today)
    return herd[entered & stays & (herd["registered"] | lately)]


def _with_findings(herd: pd.DataFrame, last: pd.DataFrame, days: pd.DataFrame, today: pd.Timestamp) -> pd.DataFrame:
    """Dates of thin soles and deep infections that are recent, of cases that return, and of those found twice."""
    from analytics.tally.needs import FOR_THE_VETERINARIAN

    last = last.assign(last=pd.to_datetime(last["last"]))
    fresh = last[last["last"] >= today - pd.Timedelta(days=RECENT_DAYS)]
    for column, codes in (("deep_on", FOR_THE_VETERINARIAN), ("thin_on", ("TS",))):
        part = fresh[fresh["lesion"].isin(codes)].groupby(COW, as_index=False).agg(**{column: ("last", "max")})
        herd = herd.merge(part, on=COW, how="left")
    returning = returning_cases(days, today).rename(columns={"since": "returning_on"})
    herd = herd.merge(returning, on=COW, how="left")
    repeat = _found_twice(days)
    return herd.merge(repeat, on=COW, how="left")


def _found_twice(days: pd.DataFrame) -> pd.DataFrame:
    """The newest lesion found on the same foot on two days or more of the last year: repeat_on, repeat_lesion."""
    if days.empty:
        return pd.DataFrame(
            {
                "farm": pd.Series(dtype="str"),
                "cow": pd.Series(dtype="str"),
                "repeat_on": pd.Series(dtype="datetime64[us]"),
            }
        ).assign(repeat_lesion=pd.Series(dtype="str"))
    twice = days.assign(times=days["days"].map(len), repeat_on=days["days"].map(max))
    twice = twice[twice["times"] >= 2].sort_values(["repeat_on", "times", "lesion"], ascending=[False, False, True])
    twice = twice.drop_duplicates(COW).rename(columns={"lesion": "repeat_lesion"})
    return twice[[*COW, "repeat_on", "repeat_lesion"]].assign(repeat_on=lambda f: pd.to_datetime(f["repeat_on"]))


def _housed(herd: pd.DataFrame, periods: pd.DataFrame) -> pd.DataFrame:
    """How each cow stands now: the period of her group, else of her farm, else what her last sheet said."""
    group = herd["group"].where(herd["group"].notna(), herd["group_seen"])
    herd = herd.assign(now_in=group)
    newest = periods.sort_values("starts_on").drop_duplicates(["farm", "group"], keep="last")
    own = newest[newest["group"].notna()].rename(columns={"group": "now_in", "housing": "own_housing"})
    whole = newest[newest["group"].isna()].rename(columns={"housing": "farm_housing"})
    herd = herd.merge(own[["farm", "now_in", "own_housing"]], on=["farm", "now_in"], how="left")
    herd = herd.merge(whole[["farm", "farm_housing"]], on="farm", how="left")
    housing = herd["own_housing"].where(herd["own_housing"].notna(), herd["farm_housing"])
    herd["housing"] = housing.where(housing.notna(), herd["housing_seen"])
    return herd.drop(columns=["now_in", "own_housing", "farm_housing", "housing_seen"])
