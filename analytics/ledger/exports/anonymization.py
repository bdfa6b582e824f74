"""Records without names, for comparing herds: every row looks like those of at least k - 1 other cows.

One row a cow, half-year and kind of visit. A row bears nothing that another row of the same cow bears, so that what
is known of her from one visit does not lead to the others. Herds get a random number, another one each half-year, so
that a herd is not known by the months in which it was visited. Trimmers, sires, breeds, notes, groups and all dates
are left out. What might tell a cow apart from others (herd, half-year, kind of visit, housing, lactation) is the same
for at least ``k`` cows: where it is not, first the lactation is left blank, then the housing, and rows that still stand
among too few are left out and counted.

Two exports of one ledger would tell the cows in which they differ. So the ledger remembers, by digests, which rows it
gave away; the rows of a herd, half-year and kind of visit of which fewer than ``k`` came or went since are held back.

This is k-anonymity [pub: Sweeney 2002, Int J Uncertain Fuzz 10:557]. :func:`what_remains` says what it does not hide.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.checksums import come
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.schema import BOOKKEEPING
from evenfoot.analytics.ledger.staging_table import insert_frame
from evenfoot.analytics.messages import Message, say

K = 5
"""Cows at the least that look alike. [common practice, no source]"""

TELLING = ("herd", "half_year", "visit_kind", "housing", "lactation")
"""What might tell a cow apart from others."""

COLUMNS = (*TELLING, "lesions", "lame")

DIGEST_DIGITS = 12
"""Hexadecimal digits of a row's digest: among the 10,000 rows of one group two are alike once in 5 million times."""

_CELL = ["farm", "half_year", "visit_kind"]
_GROUP = [*_CELL, "housing", "lactation"]

_HALF_YEAR = (
    "CONCAT(SUBSTRING(CAST(visit_date AS VARCHAR), 1, 4), "
    "CASE WHEN SUBSTRING(CAST(visit_date AS VARCHAR), 6, 2) <= '06' THEN '-H1' ELSE '-H2' END)"
)
"""Cows are trimmed twice a year as a rule [pub: University of Kentucky, Hoof Trimming of Dairy Cows: 2 in a year], so
nearly every herd has rows in every half-year, and none is known by those that it has."""

_ROWS = f"""
WITH here AS (
  SELECT farm, cow, COALESCE(visit_kind, 'unknown') AS visit_kind, housing, parity, {_HALF_YEAR} AS half_year
  FROM trims),
walked AS (
  SELECT farm, cow, {_HALF_YEAR} AS half_year, MAX(lame) AS lame
  FROM scores GROUP BY 1, 2, 3)
SELECT here.farm, here.half_year, here.visit_kind, MAX(here.housing) AS housing,
  CASE WHEN MAX(here.parity) >= 3 THEN '3 or more' ELSE CAST(MAX(here.parity) AS VARCHAR) END AS lactation,
  here.cow, MAX(walked.lame) AS lame
FROM here
LEFT JOIN walked ON walked.farm = here.farm AND walked.cow = here.cow AND walked.half_year = here.half_year
GROUP BY here.farm, here.half_year, here.visit_kind, here.cow
"""

_FOUND = f"""
SELECT DISTINCT farm, {_HALF_YEAR} AS half_year, COALESCE(visit_kind, 'unknown') AS visit_kind, cow, lesion
FROM findings
ORDER BY lesion
"""


@dataclass(frozen=True)
class Anonymous:
    """Rows without names.

    Attributes
    ----------
    table : pandas.DataFrame
        herd, half_year (2026-H1), visit_kind, housing, lactation (1, 2, 3 or more), lesions (codes with blanks
        between), lame (1, 0 or missing: not scored); in random order.
    k : int
        Every combination of herd, half_year, visit_kind, housing and lactation holds at least so many cows.
    blanked : int
        Rows whose lactation or housing was left blank for it.
    left_out : int
        Rows that stood among too few cows.
    held_back : int
        Rows that would have told fewer than *k* cows from an earlier export.
    """

    table: pd.DataFrame
    k: int
    blanked: int
    left_out: int
    held_back: int = 0


def anonymous_rows(ledger: Ledger, *, farms: Sequence[str] = (), k: int = K) -> Anonymous:
    """The trims of a ledger without names, whatever was given away before; see the words at the top of this file.

    Parameters
    ----------
    ledger : Ledger
    farms : sequence of str
        Only these.
    k : int
        Cows at the least that look alike, 2 or more.

    Raises
    ------
    UserError
        *k* is less than 2.

    References
    ----------
    Sweeney (2002). k-anonymity: a model for protecting privacy. International Journal of Uncertainty, Fuzziness and
    Knowledge-Based Systems 10, 557-570.
    """
    with ledger.reading() as cursor:
        rows, left_out = _alike_rows(cursor, farms, k)
    return _without_names(rows, k, left_out)


def write_anonymous(ledger: Ledger, out: Path, *, farms: Sequence[str] = (), k: int = K) -> Anonymous:
    """Write the rows to a CSV file, and what was done to them to a text file beside it; the ledger remembers them.

    Raises
    ------
    UserError
        A file is there already, cannot be written, no row would be left, or the ledger cannot be changed.
    """
    about = out.with_name(f"{out.stem}-about.txt")
    for path in (out, about):
        if path.exists():
            raise UserError(say("{path} is there already; give the export another name.", path=path))
    with ledger.writing(farms or ledger.farms()) as connection:
        rows, left_out = _alike_rows(connection, farms, k)
        kept = rows[~_tells_few(rows, _given_before(connection), k)]
        done = _without_names(kept, k, left_out, held_back=len(rows) - len(kept))
        if done.table.empty:
            raise UserError(_nothing_left(done))
        _remember(connection, kept, done)
        try:
            done.table.to_csv(out, index=False)
            about.write_text("\n".join(map(str, (*_what_was_done(done), *what_remains(k)))) + "\n", encoding="utf-8")
        except OSError as error:
            raise UserError(
                say("{out} cannot be written ({why}); choose another place.", out=out, why=error.strerror)
            ) from None
    return done


def what_remains(k: int = K) -> tuple[Message, ...]:
    """What somebody may still find out from an export, for everybody who makes or gets one."""
    return (
        say(
            "What remains possible: who knows how many cows of a herd were looked at in a half-year may know the herd "
            "by its number of rows."
        ),
        say(
            "Who knows the herd learns what all {k} or more cows of a group have in common, and may know a cow by "
            "lesions that she alone has.",
            k=k,
        ),
        say(
            "Held back is only what would tell cows from an earlier export that this ledger remembers: not from one of "
            "a copy of it, of another ledger, in another format, or made before a backup was put back."
        ),
        say("Give it to people who promise not to look for anybody in it."),
    )


def _what_was_done(done: Anonymous) -> tuple[Message, ...]:
    return (
        say("One row a cow, half-year and kind of visit."),
        say(
            "Rows bear no number of a cow: whether two rows are of one cow, what became of her, and how often she was "
            "seen cannot be told."
        ),
        say(
            "'herd' is a random number, another one each half-year and export: herds can be compared within a "
            "half-year, and not followed from one to the next; months and seasons cannot be told."
        ),
        say(
            "Every combination of {telling} holds at least {k} cows (k-anonymity, k = {k}). Rows with the lactation or "
            "housing left blank for it: {blanked}. Rows left out for it: {left_out}.",
            telling=", ".join(TELLING),
            k=done.k,
            blanked=done.blanked,
            left_out=done.left_out,
        ),
        say(
            "Rows held back because they would tell fewer than {k} cows from an earlier export: {held_back}.",
            k=done.k,
            held_back=done.held_back,
        ),
    )


def _nothing_left(done: Anonymous) -> Message:
    if done.held_back:
        return say(
            "Since an earlier export fewer than {k} cows came or went in each herd, half-year and kind of visit, so "
            "another one would tell who they are; use the earlier one, or wait for more records.",
            k=done.k,
        )
    return say(
        "No {k} cows were trimmed in one half-year on a farm, so nothing can be given without telling who it is.",
        k=done.k,
    )


def _alike_rows(connection: Any, farms: Sequence[str], k: int) -> tuple[pd.DataFrame, int]:
    """Rows that look like those of at least k cows, and how many others were left out.

    The frame has the columns of a group, cow, lesions, lame, blanked (whether something was left blank), and digest (of
    all that was known of the cow before).
    """
    if k < 2:
        raise UserError(say("Rows of {k} cow are not anonymous; give 2 or more.", k=k))
    keys = [*_CELL, "cow"]
    found = connection.execute(_FOUND).df().groupby(keys, as_index=False).agg(lesions=("lesion", " ".join))
    frame = connection.execute(_ROWS).df().merge(found, how="left", on=keys)
    if farms:
        frame = frame[frame["farm"].isin(list(farms))].reset_index(drop=True)
    frame["digest"] = [_digest(row) for row in frame[[*_GROUP, "cow", "lesions", "lame"]].itertuples(index=False)]
    blanked = frame["farm"].isna()
    for column in ("lactation", "housing"):
        few = _alike(frame) < k
        # All of a cell go blank together, or those that keep theirs would tell who the others are.
        cells = frame.loc[few, _CELL].drop_duplicates().assign(few=True)
        hit = frame.merge(cells, how="left", on=_CELL)["few"].notna().to_numpy()
        blanked |= hit & frame[column].notna().to_numpy()
        frame.loc[hit, column] = None
    frame["blanked"] = blanked
    enough = _alike(frame) >= k
    return frame[enough], int((~enough).sum())


def _without_names(rows: pd.DataFrame, k: int, left_out: int, held_back: int = 0) -> Anonymous:
    herds = rows["farm"] + "|" + rows["half_year"]
    numbers = {herd: secrets.token_hex(5) for herd in herds.unique()}
    table = rows.assign(herd=herds.map(numbers))[list(COLUMNS)]
    order = list(range(len(table)))
    secrets.SystemRandom().shuffle(order)
    return Anonymous(table.iloc[order].reset_index(drop=True), k, int(rows["blanked"].sum()), left_out, held_back)


def _alike(frame: pd.DataFrame) -> pd.Series:
    """For each row, how many cows look like it."""
    return frame.groupby(_GROUP, dropna=False)["cow"].transform("nunique")


def _digest(row: tuple[Any, ...]) -> str:
    # A number is written alike whether or not others of its column are missing, which makes it another type.
    text = "\x1f".join("" if pd.isna(each) else each if isinstance(each, str) else f"{each:g}" for each in row)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:DIGEST_DIGITS]


def _given_before(connection: Any) -> list[pd.DataFrame]:
    """What each earlier export gave away: the columns of a group, and digest."""
    lines = connection.execute(f"SELECT {', '.join(BOOKKEEPING['exports'])} FROM exports").df()
    if lines.empty:
        return []
    lines["digest"] = lines["cows"].str.split()
    return [each.explode("digest") for _, each in lines.groupby("exported_at")]


def _tells_few(rows: pd.DataFrame, given: Sequence[pd.DataFrame], k: int) -> pd.Series:
    """Which rows are of a cell of which fewer than k rows came or went since an earlier export."""
    cells = {cell for before in given for cell in _cells_that_tell(rows, before, k)}
    keys = zip(*(rows[column] for column in _CELL), strict=True)
    return pd.Series([key in cells for key in keys], index=rows.index, dtype=bool)


def _cells_that_tell(rows: pd.DataFrame, before: pd.DataFrame, k: int) -> Iterator[tuple[str, ...]]:
    """Cells that differ from those of an earlier export in a few rows, as a whole or in a group that both have."""
    for columns in (_CELL, _GROUP):
        now, then = _digests(rows, columns), _digests(before, columns)
        for key in now.keys() & then.keys():
            if any(0 < len(one) < k for one in (now[key] - then[key], then[key] - now[key])):
                yield key[: len(_CELL)]


def _digests(rows: pd.DataFrame, columns: list[str]) -> dict[tuple[str, ...], set[str]]:
    named = rows.assign(**{column: rows[column].fillna("").astype(str) for column in columns})
    return {tuple(map(str, key)): set(digests) for key, digests in named.groupby(columns)["digest"]}


def _remember(connection: Any, rows: pd.DataFrame, done: Anonymous) -> None:
    lines = rows.groupby(_GROUP, dropna=False, as_index=False).agg(cows=("digest", lambda each: " ".join(sorted(each))))
    moment = dt.datetime.now(dt.UTC).replace(tzinfo=None)
    lines["exported_at"] = moment
    insert_frame(connection, "exports", lines, BOOKKEEPING["exports"])
    come(connection, ["exports"], "exported_at = ?", moment)
    note(connection, "anonymous export", subject="ledger", after={"rows": len(done.table), "k": done.k})
