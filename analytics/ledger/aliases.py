"""What a name in sheets stands for: told once, used the next time, taken back where it was wrong.

A farm, a cow of one farm or a trimmer may be spelt in several ways. Who says that two names do not mean the same is
remembered, too: the name then stands for itself.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.parsing.farm_names import key
from evenfoot.analytics.ledger.checksums import changing
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.schema import BOOKKEEPING
from evenfoot.analytics.messages import say

KINDS = ("farm", "cow", "trimmer")


@dataclass(frozen=True)
class KnownNames:
    """Names that the ledger has, and what other names stand for.

    Attributes
    ----------
    farms, trimmers : tuple of str
        Alphabetical.
    cows : mapping of str to tuple of str
        Farm -> numbers of its cows, of the farms asked for.
    decided : mapping
        (kind, farm of a cow or ``None``, name as :func:`spelling` has it) -> the name it stands for.
    """

    farms: tuple[str, ...]
    trimmers: tuple[str, ...]
    cows: Mapping[str, tuple[str, ...]]
    decided: Mapping[tuple[str, str | None, str], str]

    def meaning(self, kind: str, said: str, farm: str | None = None) -> str | None:
        """What a name was said to stand for, the name itself where it is another's; ``None`` where nobody said."""
        whose = farm if kind == "cow" else None
        found = self.decided.get((kind, whose, spelling(said)))
        met = {spelling(said)}
        while found is not None and spelling(found) not in met:
            met.add(spelling(found))
            further = self.decided.get((kind, whose, spelling(found)))
            if further is None:
                return found
            found = further
        return found


def spelling(name: str) -> str:
    """What two spellings of a name have in common; the same for farms, cows and trimmers."""
    return key(name)


def names_farm(text: object, farm: str) -> bool:
    """Whether a text has a farm's name in it, as words of its own and in any case.

    Example
    -------
    >>> names_farm("Visit_of_ALDER.csv", "Alder"), names_farm("Alders", "Alder")
    (True, False)
    """
    return re.search(rf"(?<![^\W_]){re.escape(farm.casefold())}(?![^\W_])", str(text).casefold()) is not None


def known_names(connection: Any, farms: Sequence[str] = ()) -> KnownNames:
    """The names that a ledger has.

    Parameters
    ----------
    connection : connection
        What :meth:`Ledger.reading` or :meth:`Ledger.writing` gives.
    farms : sequence of str
        Farms whose cows are asked for.
    """
    named = connection.execute(
        "SELECT farm FROM cows UNION SELECT farm FROM housing_rows UNION SELECT farm FROM change_rows "
        "UNION SELECT farm FROM summary_rows ORDER BY 1"
    ).fetchall()
    trimmers = connection.execute("SELECT DISTINCT trimmer FROM trims WHERE trimmer IS NOT NULL ORDER BY 1").fetchall()
    cows: dict[str, list[str]] = {farm: [] for farm in farms}
    if farms:
        for farm, cow in connection.execute(
            "SELECT DISTINCT farm, number FROM cows WHERE farm IN (SELECT UNNEST(?)) ORDER BY farm, number",
            [list(farms)],
        ).fetchall():
            cows[farm].append(cow)
    decided = {
        (kind, farm if kind == "cow" else None, spelling(said)): means
        for kind, farm, said, means in connection.execute(
            "SELECT kind, farm, said, means FROM aliases WHERE taken_back_at IS NULL"
        ).fetchall()
    }
    return KnownNames(
        tuple(farm for (farm,) in named if farm is not None),
        tuple(trimmer for (trimmer,) in trimmers),
        {farm: tuple(each) for farm, each in cows.items()},
        decided,
    )


def add_alias(ledger: Ledger, kind: str, said: str, means: str, farm: str | None = None) -> None:
    """Remember what a name stands for, in the place of what was said of it before.

    Records that are in the ledger already keep the name they came with.

    Parameters
    ----------
    ledger : Ledger
    kind : {"farm", "cow", "trimmer"}
    said : str
        The name in sheets.
    means : str
        The name in the ledger; the same as *said* where the two are not the same.
    farm : str, optional
        Whose cow it is.

    Raises
    ------
    UserError
        The kind is another, a name is blank, or a cow's farm is not told.
    """
    said, means = " ".join(said.split()), " ".join(means.split())
    _refuse_kind(kind, farm)
    if not said or not means:
        raise UserError(say("A name is blank; give the name as the sheet has it, and the name it stands for."))
    whose = means if kind == "farm" else farm if kind == "cow" else None
    with ledger.writing() as connection:
        before = _in_force(connection, kind, said, farm)
        if before == (said, means):
            return
        now = dt.datetime.now(dt.UTC).replace(tzinfo=None)
        if before is not None:
            _take_back(connection, kind, before[0], farm, now)
        opposite = _in_force(connection, kind, means, farm)
        if opposite is not None and spelling(opposite[1]) == spelling(said) != spelling(means):
            # The newer word holds where each of two names was said to be the other.
            _take_back(connection, kind, opposite[0], farm, now)
        with changing(connection, "aliases"):
            connection.execute("INSERT INTO aliases VALUES (?, ?, ?, ?, ?, NULL)", [kind, whose, said, means, now])
        note(
            connection,
            "name set",
            subject=f"{kind} {said}",
            farm=whose,
            before={"means": before[1]} if before else None,
            after={"means": means},
        )


def take_back_alias(ledger: Ledger, kind: str, said: str, farm: str | None = None) -> None:
    """Take back what was said of a name. Records that came in meanwhile keep the name they were given.

    Raises
    ------
    UserError
        Nothing is remembered of the name.
    """
    _refuse_kind(kind, farm)
    with ledger.writing() as connection:
        before = _in_force(connection, kind, said, farm)
        if before is None:
            raise UserError(say("Nothing is remembered of the name '{said}'; nothing was taken back.", said=said))
        whose = _take_back(connection, kind, before[0], farm, dt.datetime.now(dt.UTC).replace(tzinfo=None))
        note(connection, "name taken back", subject=f"{kind} {before[0]}", farm=whose, before={"means": before[1]})


def aliases(ledger: Ledger) -> pd.DataFrame:
    """What is and was remembered, oldest first.

    Returns
    -------
    pandas.DataFrame
        kind, farm (the one meant, or whose cow it is), said, means, created_at, taken_back_at (UTC; missing where it
        holds).
    """
    if not ledger.exists:
        return pd.DataFrame(columns=list(BOOKKEEPING["aliases"]))
    return ledger.frame(
        "SELECT kind, farm, said, means, created_at, taken_back_at FROM aliases ORDER BY created_at, kind, said"
    )


def _refuse_kind(kind: str, farm: str | None) -> None:
    if kind not in KINDS:
        raise UserError(say("'{kind}' is no kind of name; use one of {kinds}.", kind=kind, kinds=", ".join(KINDS)))
    if kind == "cow" and not farm:
        raise UserError(say("Say whose cow it is: cows of two farms are never the same."))


def _in_force(connection: Any, kind: str, said: str, farm: str | None) -> tuple[str, str] | None:
    """The name as it was said, and what it stands for."""
    rows = connection.execute(
        "SELECT said, means, farm FROM aliases WHERE kind = ? AND taken_back_at IS NULL", [kind]
    ).fetchall()
    for one, means, whose in rows:
        if spelling(one) == spelling(said) and (kind != "cow" or whose == farm):
            return str(one), str(means)
    return None


def _take_back(connection: Any, kind: str, said: str, farm: str | None, moment: dt.datetime) -> str | None:
    """End what was said of a name; gives the farm of the line."""
    where = "kind = ? AND said = ? AND taken_back_at IS NULL" + (" AND farm = ?" if kind == "cow" else "")
    values = [kind, said, *([farm] if kind == "cow" else [])]
    [(whose,)] = connection.execute(f"SELECT farm FROM aliases WHERE {where}", values).fetchall()
    with changing(connection, "aliases"):
        connection.execute(f"UPDATE aliases SET taken_back_at = ? WHERE {where}", [moment, *values])
    return None if whose is None else str(whose)
