"""Visits whose sheet lists only cows with a lesion, or few of the herd, or does not tell which cows were brought.

Were the cows that are not listed looked at and sound? What kind of visit was it?

How large the herd was, and which days are one visit, is worked out as for the records at rest
(:mod:`evenfoot.analytics.ledger.derive`), on a copy of the farms' records with the new ones among them.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from evenfoot.analytics.domain.locomotion import SCALES
from evenfoot.analytics.domain.visits import REST_SOUND, WHOLE_HERD, WHOLE_HERD_SHARE
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.ledger.derive import find_coverage
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.schema import DERIVED_TABLES, ROW_TABLES, STAMP, create_statement
from evenfoot.analytics.ledger.staging_table import in_memory, stage_records
from evenfoot.analytics.ledger.transfer import BATCH
from evenfoot.analytics.messages import Message, say, say_n

RestChoice = Literal["rest sound", "only these", "not known"]
REST_CHOICES: dict[RestChoice, Message] = {
    "rest sound": say("Yes. The cows not listed were looked at and sound; they count, without numbers."),
    "only these": say("No. Only the cows listed were looked at; the visit is left out of herd figures."),
    "not known": say("Not known. The visit is left out of herd figures."),
}
"""Choice -> what it means. The last is taken where nobody answers."""

NOT_KNOWN = "not known"
KIND_CHOICES: dict[str, Message] = {
    WHOLE_HERD: say("The whole herd was looked at: the visit counts in herd figures."),
    "part-herd": say("Part of the herd: the visit is left out of herd figures and shown under all visits."),
    "lame-cow": say("Lame cows only: the visit is left out of herd figures and shown under all visits."),
    "recheck": say("A recheck: the visit is left out of herd figures and shown under all visits."),
    NOT_KNOWN: say("Not known: the visit is left out of herd figures until its kind or the size of the herd is known."),
}
"""Kind of visit -> what it means. The last is taken where nobody answers."""

_READ = ("trims", "locomotion", "register")
"""Kinds of sheet that tell how large a herd is."""


@dataclass(frozen=True)
class RestOfHerd:
    """One visit to ask about.

    Attributes
    ----------
    farm : str
    first, last : datetime.date
        Its days, of the sheet.
    cows : int
        Cows listed for the visit, those included that the ledger has of it already.
    herd_size : int or None
        Cows in the herd then; missing where nothing tells.
    usual : bool
        Whether the herd's size is only known by how many cows are usually met.
    size_from : str
        What tells the herd's size: "sheet", "other sheet", "register" or "visits".
    sized_on : datetime.date or None
        The day of the other sheet.
    all_with_lesion : bool
        Whether every cow that the sheet lists has a lesion.
    all_lame : bool
        Whether every cow that the sheet lists was scored lame.
    stated : bool
        Whether the sheet calls the visit whole-herd.
    """

    farm: str
    first: dt.date
    last: dt.date
    cows: int
    herd_size: int | None
    usual: bool
    all_with_lesion: bool
    all_lame: bool
    stated: bool
    size_from: str = "sheet"
    sized_on: dt.date | None = None

    @property
    def of_kind(self) -> bool:
        """Whether the question is what kind of visit it was: nothing tells which cows of the herd were brought."""
        return self.herd_size is None and not self.all_with_lesion

    @property
    def rest(self) -> int | None:
        """Cows of the herd that are not listed; missing where the herd's size is."""
        return None if self.herd_size is None else max(0, self.herd_size - self.cows)

    @property
    def question(self) -> Message:
        """The question, with its figures."""
        known: dict[str, Any] = {"farm": self.farm, "day": f"{self.first:%Y-%m-%d}"}
        if self.of_kind:
            return say_n(
                "{farm}, {day}: {n} cow. Neither the kind of visit nor the size of the herd is on the sheet. Which "
                "cows were brought?",
                "{farm}, {day}: {n} cows. Neither the kind of visit nor the size of the herd is on the sheet. Which "
                "cows were brought?",
                self.cows, **known,
            )  # fmt: skip
        if self.herd_size is None:
            return say_n(
                "{farm}, {day}: the one cow on the sheet has a lesion. Were the other cows of the herd looked at and "
                "sound?",
                "{farm}, {day}: all {n} cows on the sheet have a lesion. Were the other cows of the herd looked at and "
                "sound?",
                self.cows, **known,
            )  # fmt: skip
        known |= {"herd": self._herd, "rest": self.rest}
        if self.all_with_lesion:
            return say_n(
                "{farm}, {day}: the one cow on the sheet has a lesion; the herd is {herd}. Were the other {rest} "
                "looked at and sound?",
                "{farm}, {day}: all {n} cows on the sheet have a lesion; the herd is {herd}. Were the other {rest} "
                "looked at and sound?",
                self.cows, **known,
            )  # fmt: skip
        return say_n(
            "{farm}, {day}: {n} cow is on the sheet; the herd is {herd}. Were the other {rest} looked at and sound?",
            "{farm}, {day}: {n} cows are on the sheet; the herd is {herd}. Were the other {rest} looked at and sound?",
            self.cows, **known,
        )  # fmt: skip

    @property
    def _herd(self) -> Message:
        """The size of the herd and, unless the sheet says it, what it is known by."""
        if self.size_from == "other sheet" and self.sized_on is not None:
            return say("{n} (by the sheet of {day})", n=self.herd_size, day=f"{self.sized_on:%Y-%m-%d}")
        if self.size_from == "register":
            return say("{n} (by the register)", n=self.herd_size)
        if self.size_from == "visits":
            return say("{n} (by the cows met at other visits)", n=self.herd_size)
        return say("{n}", n=self.herd_size)


def rest_question(ledger: Ledger, sheets: Sequence[CheckedSheet]) -> list[RestOfHerd]:
    """The visits of trim sheets about which to ask: those that list only cows with a lesion, or fewer than 80 % of the
    herd, and do not say that they were of a part of the herd, or that the rest was sound; and those of which nothing
    tells the kind.

    Parameters
    ----------
    ledger : Ledger
    sheets : sequence of CheckedSheet
        The sheets of one file.

    Returns
    -------
    list of RestOfHerd
        By farm and day. Empty where nothing has to be asked.

    Raises
    ------
    UserError
        The ledger cannot be read.
    """
    records = _trims(sheets)
    judged = records[records["visit_kind"].isna() | (records["visit_kind"] == WHOLE_HERD)]
    if judged.empty:
        return []
    days = _coverage(ledger, sheets, sorted(set(judged["farm"])))
    rows = judged.merge(days, on=["farm", "visit_date"])
    out = []
    for (farm, _), visit in rows.groupby(["farm", "run"], sort=True):
        cows = visit.groupby("cow").agg(lesion=("with_lesion", "max"), lame=("lame", "max"))
        size = visit["herd_size"].iloc[0]
        herd = None if pd.isna(size) else round(float(size))
        listed = int(visit["cows"].iloc[0])
        few = herd is not None and listed < WHOLE_HERD_SHARE * herd
        all_with_lesion = bool(cows["lesion"].all())
        stated = bool(visit["visit_kind"].notna().any())
        if not few and not stated and visit["open"].iloc[0]:
            herd = None
        if not few and (herd is not None or (stated and not all_with_lesion)):
            continue
        sized_on = visit["sized_on"].iloc[0]
        out.append(
            RestOfHerd(
                str(farm), visit["visit_date"].min().date(), visit["visit_date"].max().date(), listed, herd,
                bool(visit["unsure"].iloc[0]) and herd is not None, all_with_lesion, bool(cows["lame"].all()), stated,
                str(visit["size_from"].iloc[0]), None if pd.isna(sized_on) else sized_on.date(),
            )
        )  # fmt: skip
    return out


def answer_rest(
    sheets: Sequence[CheckedSheet], visit: RestOfHerd, choice: RestChoice, herd_size: int | None = None
) -> list[CheckedSheet]:
    """The sheets with the kind of a visit as it was answered.

    Parameters
    ----------
    sheets : sequence of CheckedSheet
    visit : RestOfHerd
    choice : {"rest sound", "only these", "not known"}
    herd_size : int, optional
        Cows in the herd, where it is not known otherwise, or known better.

    Returns
    -------
    list of CheckedSheet

    Raises
    ------
    UserError
        The rest was sound, and how large the herd is is not known; or there is no such choice.
    """
    if choice not in REST_CHOICES:
        raise UserError(
            say("'{choice}' is no answer; use one of {choices}.", choice=choice, choices=", ".join(REST_CHOICES))
        )
    size = herd_size or visit.herd_size
    if choice == "rest sound" and size is None:
        raise UserError(
            say(
                "How many cows are in the herd of {farm}? Without that the cows that are not listed cannot be counted.",
                farm=visit.farm,
            )
        )
    kind = REST_SOUND if choice == "rest sound" else "part-herd"
    if choice == "only these" and visit.all_lame:
        kind = "lame-cow"
    out = []
    for sheet in sheets:
        if sheet.kind != "trims":
            out.append(sheet)
            continue
        records = sheet.records.copy()
        here = _of(records, visit)
        records["visit_kind"] = records["visit_kind"].mask(here, kind)
        if choice == "rest sound":
            records["herd_size"] = records["herd_size"].mask(here, size)
        out.append(dataclasses.replace(sheet, records=records))
    return out


def answer_kind(sheets: Sequence[CheckedSheet], visit: RestOfHerd, kind: str) -> list[CheckedSheet]:
    """The sheets with the kind of a visit as it was answered, one of :data:`KIND_CHOICES`."""
    if kind == NOT_KNOWN:
        return list(sheets)
    return [
        dataclasses.replace(
            sheet,
            records=sheet.records.assign(visit_kind=sheet.records["visit_kind"].mask(_of(sheet.records, visit), kind)),
        )
        if sheet.kind == "trims"
        else sheet
        for sheet in sheets
    ]


def _of(records: pd.DataFrame, visit: RestOfHerd) -> pd.Series:
    """Which records are of a visit and of no other kind than the whole herd."""
    here: pd.Series = (
        (records["farm"] == visit.farm)
        & records["visit_date"].between(pd.Timestamp(visit.first), pd.Timestamp(visit.last))
        & (records["visit_kind"].isna() | (records["visit_kind"] == WHOLE_HERD))
    ).fillna(False)
    return here


def _trims(sheets: Sequence[CheckedSheet]) -> pd.DataFrame:
    """farm, visit_date, cow, visit_kind of the records of trim sheets, whether there is a lesion, and lame or not."""
    frames = [sheet.records for sheet in sheets if sheet.kind == "trims" and len(sheet.records)]
    columns = ["farm", "visit_date", "cow", "visit_kind"]
    if not frames:
        return pd.DataFrame(columns=[*columns, "with_lesion", "lame"])
    records = pd.concat(frames, ignore_index=True)
    lesion = records["lesion"].notna() & (records["dd_stage"].fillna("") != "M0")
    cut = records["locomotion_scale"].map({name: scale.lame for name, scale in SCALES.items()})
    lame = (records["locomotion_score"] >= cut).fillna(False)
    return records[columns].assign(with_lesion=lesion.astype(bool), lame=lame.astype(bool))


def _coverage(ledger: Ledger, sheets: Sequence[CheckedSheet], farms: list[str]) -> pd.DataFrame:
    """Every trim day of some farms, the sheets' among them.

    farm, visit_date, run, cows, herd_size, unsure, open, size_from, sized_on.
    """
    with in_memory() as memory:
        for kind in _READ:
            table, fields = ROW_TABLES[kind]
            memory.execute(create_statement(table, {**STAMP, **fields}))
        for table, columns in DERIVED_TABLES.items():
            memory.execute(create_statement(table, columns))
        if ledger.exists:
            with ledger.reading() as cursor:
                for kind in _READ:
                    _copy_rows(memory, ledger, cursor, kind, farms)
        for sheet in sheets:
            if sheet.kind in _READ:
                table, fields = ROW_TABLES[sheet.kind]
                stage_records(memory, sheet.kind, sheet.records)
                listed = ", ".join(f'"{name}"' for name in fields)
                memory.execute(f"INSERT INTO {table} SELECT 0, row_no, row_key, {listed} FROM incoming")

        def execute(sql: str, parameters: list[object] | None = None) -> object:
            return memory.execute(sql, parameters or [])

        find_coverage(execute, farms)
        found: pd.DataFrame = memory.execute(
            """SELECT d.farm, CAST(d.visit_date AS TIMESTAMP) AS visit_date, d.run, c.cows, c.herd_size, c.unsure,
              c.open, c.size_from, CAST(c.sized_on AS TIMESTAMP) AS sized_on
            FROM visit_days d JOIN coverage c ON c.farm = d.farm AND c.scoring = d.scoring AND c.run = d.run
            WHERE d.scoring = 0"""
        ).df()
        return found


def _copy_rows(memory: Any, ledger: Ledger, cursor: Any, kind: str, farms: list[str]) -> None:
    import pyarrow as pa

    table, fields = ROW_TABLES[kind]
    listed = ", ".join(f'"{name}"' for name in (*STAMP, *fields))
    sql = f"SELECT {listed} FROM {table} WHERE farm IN (SELECT UNNEST(?))"
    for batch in ledger.engine.batches(cursor, sql, BATCH, [farms]):
        memory.register("rows_in", pa.Table.from_batches([batch]))
        memory.execute(f"INSERT INTO {table} ({listed}) SELECT {listed} FROM rows_in")
        memory.unregister("rows_in")
