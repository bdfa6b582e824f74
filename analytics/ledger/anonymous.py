"""Records without names, for comparing herds: every row looks like those of at least k - 1 other cows.

One row a cow and month of a kind of visit. Farms get a random number, cows another one each month; days become
months; trimmers, sires, breeds, notes, groups and all dates are left out. What might tell a cow apart from others
(farm, month, kind of visit, housing, lactation) is the same for at least ``k`` cows: where it is not, first the
lactation is left blank, then the housing, and rows that still stand among too few are left out and counted.

This is k-anonymity [pub: Sweeney 2002, Int J Uncertain Fuzz 10:557]. It does not hide what all cows of such a group
have in common, and somebody who knows how many cows a herd had trimmed in which months may still know the herd.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from analytics.ledger.ledger import Ledger
from analytics.mistake import Mistake

if TYPE_CHECKING:
    import pandas as pd

K = 5
"""Cows at the least that look alike. [common practice, no source]"""

TELLING = ("farm", "month", "visit_kind", "housing", "lactation")
"""What might tell a cow apart from others."""

COLUMNS = (*TELLING, "cow", "lesions", "lame")

_ROWS = """
WITH here AS (
  SELECT farm, cow, visit_date, COALESCE(visit_kind, 'unknown') AS visit_kind, housing, parity,
    SUBSTRING(CAST(visit_date AS VARCHAR), 1, 7) AS month
  FROM trims),
walked AS (
  SELECT farm, cow, SUBSTRING(CAST(visit_date AS VARCHAR), 1, 7) AS month, MAX(lame) AS lame
  FROM scores GROUP BY 1, 2, 3)
SELECT here.farm, here.month, here.visit_kind, MAX(here.housing) AS housing,
  CASE WHEN MAX(here.parity) >= 3 THEN '3 or more' ELSE CAST(MAX(here.parity) AS VARCHAR) END AS lactation,
  here.cow, MAX(walked.lame) AS lame
FROM here
LEFT JOIN walked ON walked.farm = here.farm AND walked.cow = here.cow AND walked.month = here.month
GROUP BY here.farm, here.month, here.visit_kind, here.cow
"""

_FOUND = """
SELECT DISTINCT farm, SUBSTRING(CAST(visit_date AS VARCHAR), 1, 7) AS month,
  COALESCE(visit_kind, 'unknown') AS visit_kind, cow, lesion
FROM findings
ORDER BY lesion
"""


@dataclass(frozen=True)
class Anonymous:
    """Rows without names.

    Attributes
    ----------
    table : pandas.DataFrame
        farm, month, visit_kind, housing, lactation (1, 2, 3 or more), cow, lesions (codes with blanks between), lame
        (1, 0 or missing: not scored); in random order.
    k : int
        Every combination of farm, month, visit_kind, housing and lactation holds at least so many cows.
    blanked : int
        Rows whose lactation or housing was left blank for it.
    left_out : int
        Rows that stood among too few cows.
    """

    table: pd.DataFrame
    k: int
    blanked: int
    left_out: int


def anonymous_rows(ledger: Ledger, *, farms: Sequence[str] = (), k: int = K) -> Anonymous:
    """The trims of a ledger without names; see the words at the top of this file.

    Parameters
    ----------
    ledger : Ledger
    farms : sequence of str
        Only these.
    k : int
        Cows at the least that look alike, 2 or more.

    Raises
    ------
    Mistake
        *k* is less than 2.

    References
    ----------
    Sweeney (2002). k-anonymity: a model for protecting privacy. International Journal of Uncertainty, Fuzziness and
    Knowledge-Based Systems 10, 557-570.
    """
    if k < 2:
        raise Mistake(f"Rows of {k} cow are not anonymous; give 2 or more.")
    keys = ["farm", "month", "visit_kind", "cow"]
    found = ledger.frame(_FOUND).groupby(keys, as_index=False).agg(lesions=("lesion", " ".join))
    frame = ledger.frame(_ROWS).merge(found, how="left", on=keys)
    if farms:
        frame = frame[frame["farm"].isin(list(farms))]
    blanked = frame["farm"].isna()
    for column in ("lactation", "housing"):
        few = _alike(frame) < k
        # All of the farm's month go blank together, or those that keep theirs would tell who the others are.
        months = frame.loc[few, ["farm", "month", "visit_kind"]].drop_duplicates().assign(few=True)
        hit = frame.merge(months, how="left", on=["farm", "month", "visit_kind"])["few"].notna().to_numpy()
        blanked |= hit & frame[column].notna().to_numpy()
        frame.loc[hit, column] = None
    enough = _alike(frame) >= k
    left_out = int((~enough).sum())
    frame, blanked = frame[enough].copy(), blanked[enough]
    frame["cow"] = _renamed(frame[["farm", "month", "cow"]].agg("|".join, axis=1) if len(frame) else frame["cow"])
    frame["farm"] = _renamed(frame["farm"])
    order = list(range(len(frame)))
    secrets.SystemRandom().shuffle(order)
    return Anonymous(frame.iloc[order].reset_index(drop=True)[list(COLUMNS)], k, int(blanked.sum()), left_out)


def write_anonymous(ledger: Ledger, out: Path, *, farms: Sequence[str] = (), k: int = K) -> Anonymous:
    """Write the rows to a CSV file, and what was done to them to a text file beside it.

    Raises
    ------
    Mistake
        A file is there already, cannot be written, or no row would be left.
    """
    about = out.with_name(f"{out.stem}-about.txt")
    for path in (out, about):
        if path.exists():
            raise Mistake(f"{path} is there already; give the export another name.")
    rows = anonymous_rows(ledger, farms=farms, k=k)
    if rows.table.empty:
        raise Mistake(
            f"No {k} cows were trimmed in one month on a farm, so nothing can be given without telling who it is."
        )
    try:
        rows.table.to_csv(out, index=False)
        about.write_text(
            f"One row a cow and month. Every combination of {', '.join(TELLING)} holds at least {k} cows "
            f"(k-anonymity, k = {k}). Farms and cows bear random names, cows another one each month. Rows with the "
            f"lactation or housing left blank for it: {rows.blanked}. Rows left out for it: {rows.left_out}.\n",
            encoding="utf-8",
        )
    except OSError as error:
        raise Mistake(f"{out} cannot be written ({error.strerror}); choose another place.") from None
    return rows


def _alike(frame: pd.DataFrame) -> pd.Series:
    """For each row, how many cows look like it."""
    return frame.groupby(list(TELLING), dropna=False)["cow"].transform("nunique")


def _renamed(names: pd.Series) -> pd.Series:
    """Random names in the place of names, the same for the same."""
    known = {name: secrets.token_hex(5) for name in names.unique()}
    return names.map(known)
