"""What is known of every cow in the herd on a day, for saying who is due.

Every kind of visit counts, up to that day. What the sheets say of later days (a recheck asked for) is kept.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch, fetch_many
from evenfoot.analytics.queries.filters import NOT_RECORDED, of_farm_and_period
from evenfoot.analytics.queries.locomotion_scores import one_scoring_a_day
from evenfoot.analytics.queries.selection import Selection

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


def _days(selection: Selection) -> str:
    """A question: first and last, the days of the first and the newest trim or score."""
    days = sql.union(
        *(f"SELECT visit_date FROM ({of_farm_and_period(name, selection)}) AS r" for name in ("trims", "scores"))
    )
    return f'SELECT MIN(visit_date) AS "first", MAX(visit_date) AS "last" FROM ({days}) AS days'


def visit_days(ledger: Ledger, selection: Selection, on: dt.date) -> pd.DataFrame:
    """How many days of each kind of visit a farm has had by a day: farm, visit_kind, days."""
    return fetch(ledger, _visit_days(_everything(selection, on)))


def _visit_days(selection: Selection) -> str:
    """A question: the columns of :func:`visit_days`."""
    return f"""
        SELECT farm, visit_kind, COUNT(*) AS days
        FROM (SELECT DISTINCT farm, visit_kind, visit_date FROM ({of_farm_and_period("trims", selection)}) AS t) AS days
        GROUP BY farm, visit_kind"""


def farms_of(ledger: Ledger, selection: Selection) -> int:
    """How many farms of a selection have cows."""
    return int(fetch(ledger, _farms(selection))["farms"].iloc[0])


def _farms(selection: Selection) -> str:
    """A question: how many farms have cows."""
    return f"SELECT COUNT(DISTINCT farm) AS farms FROM ({_of_farms('cows', selection)}) AS c"


def _everything(selection: Selection, on: dt.date | None) -> Selection:
    return Selection(farms=selection.farms, cows=selection.cows, allowed=selection.allowed, until=on, visits=("all",))


def _of_farms(table: str, selection: Selection) -> str:
    """The rows of a table without visit dates, narrowed to the farms (and cows) of a selection."""
    keep: list[str] = []
    if selection.farms:
        keep.append(sql.among("farm", selection.farms))
    if selection.allowed is not None:
        keep.append(sql.among("farm", selection.allowed))
    if selection.cows and table != "housing_rows":
        keep.append(sql.among("cow", selection.cows))
    return f"SELECT * FROM {table}{sql.where(*keep)}"


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


def _questions(selection: Selection, on: dt.date) -> dict[str, str]:
    """The questions behind the parts of :class:`KnownHerd`."""
    known = _everything(selection, on)
    day = sql.literal(on)
    rows = of_farm_and_period("trim_rows", known)
    found = of_farm_and_period("findings", known.with_(since=on - dt.timedelta(days=RETURNING_DAYS)))
    recent = sql.literal(on - dt.timedelta(days=RECENT_DAYS))
    of_place = f"{sql.names([*COW, *PLACE])}, visit_date AS found_on"
    return {
        "cows": f"SELECT farm, cow, breed, registered, entered_on, left_on FROM ({_of_farms('cows', selection)}) AS c",
        "looks": _looks(known),
        "group": f"""
            SELECT n.farm, n.cow, MAX(m."group") AS "group", n.moved_on
            FROM (
                SELECT farm, cow, MAX(moved_on) AS moved_on
                FROM ({_of_farms("moves", selection)}) AS m
                WHERE moved_on <= {day}
                GROUP BY farm, cow) AS n
            JOIN ({_of_farms("moves", selection)}) AS m
                ON n.farm = m.farm AND n.cow = m.cow AND n.moved_on = m.moved_on
            GROUP BY n.farm, n.cow, n.moved_on""",
        "calved": f"""
            SELECT farm, cow, MAX(calved_on) AS calved_on, COUNT(*) AS calvings
            FROM ({_of_farms("calvings", selection)}) AS c
            WHERE calved_on <= {day}
            GROUP BY farm, cow""",
        "score": f"""
            SELECT farm, cow, lame, severe, score, scale, visit_date AS scored_on
            FROM (
                SELECT *, ROW_NUMBER() OVER (PARTITION BY farm, cow ORDER BY visit_date DESC) AS place
                FROM ({one_scoring_a_day(known)}) AS s) AS scores_of_cows
            WHERE place = 1""",
        "findings": f"SELECT DISTINCT {of_place} FROM ({found}) AS f",
        "referred": f"""
            SELECT DISTINCT {of_place}
            FROM ({rows}) AS r
            WHERE action = 'refer' AND visit_date >= {recent}""",
        "asked": _not_looked_at_since(
            f"SELECT * FROM ({rows}) AS r WHERE action = 'block' OR recheck_on IS NOT NULL", _seen(known)
        ),
        "horn": _newest_horn(known),
        "housing": f"""
            SELECT farm, "group", starts_on, housing
            FROM ({_of_farms("housing_rows", selection)}) AS h
            WHERE starts_on <= {day} AND (ends_on IS NULL OR ends_on >= {day})""",
    }


def _seen(known: Selection) -> str:
    """The trims at which a cow was looked at. One that her sheet does not list was looked at, and not trimmed."""
    return f"SELECT * FROM ({of_farm_and_period('trims', known)}) AS t WHERE COALESCE(kind_from, '') <> 'unlisted'"


def _looks(known: Selection) -> str:
    """The days a cow was looked at, and what the sheet of the newest says of her.

    Returns
    -------
    str
        A question: farm, cow, looked_on, trimmed_on, group_seen, group_seen_on, housing_seen, parity_seen, breed_seen.
    """
    return f"""
        SELECT n.farm, n.cow, n.looked_on, n.trimmed_on, t."group" AS group_seen, n.group_seen_on,
            t.housing AS housing_seen, t.parity AS parity_seen, t.breed AS breed_seen
        FROM (
            SELECT farm, cow,
                MAX(visit_date) AS looked_on,
                MAX(visit_date) FILTER (WHERE COALESCE(visit_kind, '') NOT IN ('lame-cow', 'recheck')) AS trimmed_on,
                MAX(visit_date) FILTER (WHERE "group" IS NOT NULL) AS group_seen_on
            FROM ({_seen(known)}) AS seen
            GROUP BY farm, cow) AS n
        JOIN ({_seen(known)}) AS t ON n.farm = t.farm AND n.cow = t.cow AND n.looked_on = t.visit_date"""


def _not_looked_at_since(rows: str, seen: str) -> str:
    """The rows of trims whose foot was not looked at on a later day; without a foot, whose cow was not.

    Parameters
    ----------
    rows : str
        A question with the columns of ``trim_rows``.
    seen : str
        A question with those of ``trims``.

    Returns
    -------
    str
        A question: farm, cow, the columns of ``PLACE``, found_on.
    """
    return f"""
        SELECT p.*
        FROM (SELECT DISTINCT {sql.names([*COW, *PLACE])}, visit_date AS found_on FROM ({rows}) AS r) AS p
        ANTI JOIN ({seen}) AS later
            ON p.farm = later.farm AND p.cow = later.cow AND later.visit_date > p.found_on
            AND CASE p.foot
                WHEN 'LF' THEN later.seen_lf
                WHEN 'RF' THEN later.seen_rf
                WHEN 'LH' THEN later.seen_lh
                WHEN 'RH' THEN later.seen_rh
                ELSE 1
            END = 1"""


def _newest_horn(known: Selection) -> str:
    """The readings of the newest day on which the horn of a cow was read, and where they were worst.

    Returns
    -------
    str
        A question: farm, cow, horn_on, stage_low, stage_high, sole_mm, sole_foot, sole_claw, break_mm, break_foot,
        break_claw, horn_lame.
    """
    rows = of_farm_and_period("horn_readings", known)
    return f"""
        SELECT farm, cow,
            MAX(visit_date) AS horn_on,
            MIN(shed_stage) AS stage_low,
            MAX(shed_stage) AS stage_high,
            MIN(sole_thickness_mm) AS sole_mm,
            MAX(foot) FILTER (WHERE thin_place = 1 AND sole_thickness_mm IS NOT NULL) AS sole_foot,
            MAX(claw) FILTER (WHERE thin_place = 1 AND sole_thickness_mm IS NOT NULL) AS sole_claw,
            MAX(toe_break_mm) AS break_mm,
            MAX(foot) FILTER (WHERE break_place = 1 AND toe_break_mm IS NOT NULL) AS break_foot,
            MAX(claw) FILTER (WHERE break_place = 1 AND toe_break_mm IS NOT NULL) AS break_claw,
            MAX(lame) AS horn_lame
        FROM (
            SELECT *,
                ROW_NUMBER() OVER (PARTITION BY farm, cow ORDER BY sole_thickness_mm, foot, claw) AS thin_place,
                ROW_NUMBER() OVER (
                    PARTITION BY farm, cow ORDER BY toe_break_mm DESC NULLS LAST, foot, claw
                ) AS break_place
            FROM (
                SELECT h.*
                FROM ({rows}) AS h
                JOIN (SELECT farm, cow, MAX(visit_date) AS newest FROM ({rows}) AS h GROUP BY farm, cow) AS n
                    ON h.farm = n.farm AND h.cow = n.cow AND h.visit_date = n.newest) AS newest_readings) AS placed
        GROUP BY farm, cow"""


def toes_on(ledger: Ledger, selection: Selection, on: dt.date) -> pd.DataFrame:
    """The newest toe length of every claw by a day: farm, cow, foot, claw, read_on, left_mm.

    ``left_mm`` is the length as left, or as found where the sheet does not say what was left.
    """
    newest = fetch(ledger, _toes(_everything(selection, on)))
    return newest.sort_values([*COW, "foot", "claw"]).reset_index(drop=True)


def _toes(selection: Selection) -> str:
    """A question: the columns of :func:`toes_on`. Of several rows of a claw and day the longest toe counts."""
    toes = f"""
        SELECT farm, cow, foot, claw, visit_date, COALESCE(toe_length_after_mm, toe_length_mm) AS left_mm
        FROM ({of_farm_and_period("horn_readings", selection)}) AS h
        WHERE toe_length_after_mm IS NOT NULL OR toe_length_mm IS NOT NULL"""
    return f"""
        SELECT t.farm, t.cow, t.foot, t.claw, n.read_on, MAX(t.left_mm) AS left_mm
        FROM ({toes}) AS t
        JOIN (
            SELECT farm, cow, foot, claw, MAX(visit_date) AS read_on
            FROM ({toes}) AS t
            GROUP BY farm, cow, foot, claw) AS n
            ON t.farm = n.farm AND t.cow = n.cow AND t.visit_date = n.read_on
            AND COALESCE(t.foot, '') = COALESCE(n.foot, '') AND COALESCE(t.claw, '') = COALESCE(n.claw, '')
        GROUP BY t.farm, t.cow, t.foot, t.claw, n.read_on"""


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


def _whereabouts(selection: Selection, on: dt.date) -> dict[str, str]:
    """The questions behind :func:`whereabouts`."""
    day = sql.literal(on)
    return {
        "moves": f"""
            SELECT farm, cow, moved_on, "group"
            FROM ({_of_farms("moves", selection)}) AS m
            WHERE moved_on <= {day}""",
        "periods": f"""
            SELECT farm, "group", starts_on, ends_on, housing
            FROM ({_of_farms("housing_rows", selection)}) AS h
            WHERE starts_on <= {day}""",
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
