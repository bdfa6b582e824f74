"""Which record of a sheet is which record of the ledger: what makes a record the same, and what is another version.

A record has an identity, such as farm, day, cow, foot, claw, zone and lesion. Records are compared only where they
share a visit (a farm and day; a cow of the register). A blank never contradicts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.ledger.schema import ROW_TABLES

NEW, SAME, DIFFERS, MOVED, TWICE = "new", "same", "differs", "moved", "twice"
STATES = (NEW, SAME, DIFFERS, MOVED, TWICE)

Positions = npt.NDArray[np.int64]

BROUGHT_AGAIN = 0.5
"""A sheet brings a visit again when it has at least this share of the visit's records in the ledger. Only then can a
record that it lacks be one that it corrected. [common practice, no source]"""


@dataclass(frozen=True)
class Identity:
    """What tells a record of one kind of sheet from others.

    Attributes
    ----------
    visit : tuple of str
        Two columns, never blank. Only records that share both are compared.
    fixed : tuple of str
        Equal in two versions of one record; blank is a value as any other.
    open : tuple of str
        Equal, or blank in one of the two.
    corrected : tuple of str
        One of these may differ where all else is equal and the sheet no longer has the ledger's record.
    listed : tuple of str
        Fields that hold several values, separated by semicolons. Values that are there already are no difference.
    """

    visit: tuple[str, str]
    fixed: tuple[str, ...] = ()
    open: tuple[str, ...] = ()
    corrected: tuple[str, ...] = ()
    listed: tuple[str, ...] = ()


IDENTITIES: dict[str, Identity] = {
    "trims": Identity(
        ("farm", "visit_date"), ("cow", "lesion"), ("foot", "claw", "zone"), corrected=("cow", "foot", "lesion")
    ),
    "locomotion": Identity(("farm", "date"), ("cow",), ("scorer",), corrected=("cow",)),
    "register": Identity(("farm", "cow"), open=("birth_date", "entered_on"), listed=("calvings", "group_moves")),
    "housing": Identity(("farm", "starts_on"), ("group",)),
    "changes": Identity(("farm", "date"), ("what",)),
    "counts": Identity(("farm", "visit_date"), ("lesion",), ("unit", "trimmer")),
}
"""Kind of sheet -> identity. Limits of horn have none: the one set last holds."""

OF_LESION = ("lesion_detail", "severity", "dd_stage")
"""Fields that say more of the lesion, and mean nothing for another one."""

OF_PLACE = ("foot", "claw", "zone")


@dataclass(frozen=True)
class Matches:
    """What each record of a sheet is to the ledger.

    Attributes
    ----------
    state : array of str
        For each record: new, same, differs or moved.
    partner : array of int
        Position of the ledger's record that it is a version of, -1 for a new one.
    corrected : array of str
        The field that was corrected where the record is moved, else empty.
    """

    state: npt.NDArray[np.object_]
    partner: Positions
    corrected: npt.NDArray[np.object_]


def match_records(kind: str, records: pd.DataFrame, ledger: pd.DataFrame, known: npt.NDArray[np.bool_]) -> Matches:
    """Match the records of a sheet with those that the ledger has of the same visits.

    Parameters
    ----------
    kind : str
        A key of ``IDENTITIES``.
    records, ledger : pandas.DataFrame
        The fields of the kind, one row a record.
    known : array of bool
        Ledger records that the sheet has word for word. They are nobody's other version.

    Returns
    -------
    Matches
    """
    identity = IDENTITIES[kind]
    ours, theirs = comparable(kind, records), comparable(kind, ledger)
    pairing = _Pairing(kind, ours, theirs, known)
    pairing.pair_versions()
    if identity.corrected:
        pairing.pair_corrections()
    return pairing.matches()


def comparable(kind: str, frame: pd.DataFrame) -> pd.DataFrame:
    """The fields of a kind as texts that are equal where the values mean the same; blank is an empty text."""
    _, fields = ROW_TABLES[kind]
    listed = IDENTITIES[kind].listed
    out: dict[str, npt.NDArray[np.object_]] = {}
    for name, sql in fields.items():
        column = frame[name]
        blank = column.isna().to_numpy(dtype=bool)
        if blank.all():
            out[name] = np.full(len(frame), "", dtype=object)
            continue
        if sql == "DATE":
            texts = pd.to_datetime(column).dt.strftime("%Y-%m-%d")
        elif sql == "VARCHAR":
            texts = column.astype("str").str.split().str.join(" ").str.casefold()
            if name in listed:
                texts = texts.map(lambda text: "; ".join(sorted(_values(text))), na_action="ignore")
        elif sql == "BOOLEAN":
            texts = column.map(lambda value: "yes" if value else "no", na_action="ignore")
        else:
            texts = column.astype("float64").map(lambda value: f"{value:.12g}", na_action="ignore")
        values = texts.to_numpy(dtype=object, copy=True)
        values[blank] = ""
        out[name] = values
    return pd.DataFrame(out, index=range(len(frame)), dtype=object)


def differing_fields(kind: str, ours: Mapping[Any, str], theirs: Mapping[Any, str]) -> list[str]:
    """Fields that the sheet's version of a record says and the ledger's version does not; notes are none of them.

    Parameters
    ----------
    kind : str
    ours, theirs : mapping of str to str
        One row of :func:`comparable` each.
    """
    listed = IDENTITIES[kind].listed
    return [
        name
        for name in ROW_TABLES[kind][1]
        if name != "note" and ours[name] and ours[name] != theirs[name]
        and not (name in listed and _values(ours[name]) <= _values(theirs[name]))
    ]  # fmt: skip


def merged(kind: str, records: pd.DataFrame, ledger: pd.DataFrame, matches: Matches) -> pd.DataFrame:
    """The records that take the place of the ledger's: the sheet's, with its blanks filled from the ledger's.

    Nothing is lost: of fields with several values the values of both are kept, and so are the words of both notes.
    A record that is the same gives its note alone. What said more of a lesion that was corrected is not taken over.

    Parameters
    ----------
    kind : str
    records, ledger : pandas.DataFrame
        Of every record its partner, in the same order.
    matches : Matches
        Of these records.

    Returns
    -------
    pandas.DataFrame
        The fields of the kind.
    """
    _, fields = ROW_TABLES[kind]
    listed = IDENTITIES[kind].listed
    same = matches.state == SAME
    other_lesion = matches.corrected == "lesion"
    nothing_found = other_lesion & records["lesion"].isna().to_numpy() if "lesion" in fields else other_lesion
    out: dict[str, npt.NDArray[np.object_]] = {}
    for name in fields:
        ours, theirs = _objects(records[name]), _objects(ledger[name])
        if name == "note":
            out[name] = np.array([join_notes(a, b) for a, b in zip(theirs, ours, strict=True)], dtype=object)
            continue
        keeps = _is_none(ours)
        if name in OF_LESION:
            keeps &= ~other_lesion
        if name in (*OF_PLACE, "lesion"):
            keeps &= ~nothing_found
        values = np.where(same | keeps, theirs, ours)
        if name in listed:
            both = ~same & ~_is_none(ours) & ~_is_none(theirs)
            values[both] = [
                "; ".join(sorted({*_values(a), *_values(b)})) for a, b in zip(ours[both], theirs[both], strict=True)
            ]
        out[name] = values
    return pd.DataFrame(out, dtype=object)


def join_notes(before: str | None, now: str | None) -> str | None:
    """A note that says what two notes say: the longer one where it holds the other, else one after the other.

    Example
    -------
    >>> join_notes("walks badly", "Walks badly; seen in May"), join_notes("block", "seen in May"), join_notes("a", None)
    ('Walks badly; seen in May', 'block; seen in May', 'a')
    """
    if not now or not before:
        return now or before
    one, other = (" ".join(text.split()).casefold() for text in (before, now))
    if other in one:
        return before
    return now if one in other else f"{before}; {now}"


def _values(text: str) -> set[str]:
    return {value.strip() for value in text.split(";") if value.strip()}


def _objects(column: pd.Series) -> npt.NDArray[np.object_]:
    """Values as Python has them, ``None`` where there is none."""
    values = column.astype(object).to_numpy(dtype=object, copy=True)
    values[column.isna().to_numpy(dtype=bool)] = None
    return values


def _is_none(values: npt.NDArray[np.object_]) -> npt.NDArray[np.bool_]:
    return np.array([value is None for value in values], dtype=bool)


class _Pairing:
    """Pairs of records so far; every record is in one pair at most."""

    def __init__(self, kind: str, ours: pd.DataFrame, theirs: pd.DataFrame, known: npt.NDArray[np.bool_]) -> None:
        self.kind = kind
        self.identity = IDENTITIES[kind]
        self.ours, self.theirs = ours, theirs
        self.partner = np.full(len(ours), -1, dtype=np.int64)
        self.corrected = np.full(len(ours), "", dtype=object)
        self.taken = known.copy()
        self.fields = [
            name for name in ROW_TABLES[kind][1] if name not in (*self.identity.visit, *self.identity.fixed, "note")
        ]
        self._our_columns = {name: ours[name].to_numpy(dtype=object) for name in ours}
        self._their_columns = {name: theirs[name].to_numpy(dtype=object) for name in theirs}

    def pair_versions(self) -> None:
        """Pair records of one identity, those most alike first."""
        identity = self.identity
        one, other = self._candidates((*identity.visit, *identity.fixed))
        fits = np.ones(len(one), dtype=bool)
        equal = np.zeros(len(one), dtype=np.int64)
        for name in identity.open:
            alike, contradict, _ = self._compared(name, one, other)
            fits &= ~contradict
            equal += alike
        if self.kind == "trims":
            # Where nothing was found a foot without a name is no other foot's record.
            fits &= (self._our_columns["lesion"][one] != "") | (equal == len(identity.open))
        one, other, equal = one[fits], other[fits], equal[fits]
        apart = np.zeros(len(one), dtype=np.int64)
        for name in self.fields:
            _, contradict, filled = self._compared(name, one, other)
            apart += contradict | filled
        order = np.lexsort((other, one, -equal, apart))
        self._take(one[order], other[order])

    def pair_corrections(self) -> None:
        """Pair what the sheet no longer has with what it has in its place, where only one field was corrected."""
        again = self._brought_again()
        for field in self.identity.corrected:
            if not again.any():
                return
            fixed = tuple(name for name in self.identity.fixed if name != field)
            if field == "lesion":
                one, other = self._candidates((*self.identity.visit, *fixed))
                ours, theirs = self._our_columns["lesion"][one], self._their_columns["lesion"][other]
                feet = self._our_columns["foot"][one] == self._their_columns["foot"][other]
                fits = feet | (ours == "") | (theirs == "")
                compared = [name for name in self.fields if name not in OF_LESION]
            elif field == "foot":
                one, other = self._candidates((*self.identity.visit, *fixed))
                fits = self._our_columns["lesion"][one] != ""
                compared = [name for name in self.fields if name != "foot"]
            else:
                one, other = self._candidates((*self.identity.visit, *fixed, *self.identity.open))
                fits = np.ones(len(one), dtype=bool)
                compared = self.fields
            fits &= again[other]
            for name in compared:
                fits &= ~self._compared(name, one, other)[1]
            one, other = one[fits], other[fits]
            if field == "cow":
                one, other = self._probable(one, other)
            alone = ~(_repeated(one) | _repeated(other))
            self.corrected[one[alone]] = field
            self._take(one[alone], other[alone])

    def matches(self) -> Matches:
        state = np.full(len(self.ours), NEW, dtype=object)
        paired = np.flatnonzero(self.partner >= 0)
        apart = np.zeros(len(paired), dtype=bool)
        for name in self.fields:
            _, contradict, filled = self._compared(name, paired, self.partner[paired])
            apart |= contradict | filled
        state[paired] = np.where(apart, DIFFERS, SAME)
        state[self.corrected != ""] = MOVED
        return Matches(state, self.partner, self.corrected)

    def _candidates(self, columns: Sequence[str]) -> tuple[Positions, Positions]:
        """Pairs of records that are in no pair yet and are equal in some columns."""
        one = self.ours.loc[self.partner < 0, list(columns)]
        other = self.theirs.loc[~self.taken, list(columns)]
        both = one.assign(one=one.index).merge(other.assign(other=other.index), on=list(columns))
        return both["one"].to_numpy(dtype=np.int64), both["other"].to_numpy(dtype=np.int64)

    def _compared(
        self, name: str, one: Positions, other: Positions
    ) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
        """Of pairs: whether a field is equal, whether it contradicts, and whether the sheet fills what was blank."""
        ours, theirs = self._our_columns[name][one], self._their_columns[name][other]
        equal = (ours == theirs).astype(bool)
        contradict = (~equal & (ours != "") & (theirs != "")).astype(bool)
        filled = (~equal & (theirs == "")).astype(bool)
        if name in self.identity.listed:
            for place in np.flatnonzero(contradict):
                contradict[place] = not _values(ours[place]) <= _values(theirs[place])
        return equal, contradict, filled

    def _take(self, one: Positions, other: Positions) -> None:
        """Make pairs, the first ones first, until every pair has a record that is in one."""
        while len(one):
            first = ~(_seen_before(one) | _seen_before(other))
            self.partner[one[first]] = other[first]
            self.taken[other[first]] = True
            free = (self.partner[one] < 0) & ~self.taken[other]
            one, other = one[free], other[free]

    def _brought_again(self) -> npt.NDArray[np.bool_]:
        """For each record of the ledger, whether the sheet has enough of its visit to have corrected the rest."""
        visits = self.theirs.groupby(list(self.identity.visit), sort=False).ngroup().to_numpy()
        met = np.bincount(visits, weights=self.taken)
        return np.asarray((met >= BROUGHT_AGAIN * np.bincount(visits))[visits], dtype=bool)

    def _probable(self, one: Positions, other: Positions) -> tuple[Positions, Positions]:
        """Pairs of cow numbers of which one may be a slip for the other: nearly the same, or no other is left."""
        near = np.array(
            [
                _one_slip(self._our_columns["cow"][a], self._their_columns["cow"][b])
                for a, b in zip(one, other, strict=True)
            ],
            dtype=bool,
        )
        if "lesion" in self._our_columns:
            alone = ~(_repeated(one) | _repeated(other))
            near |= alone & (self._our_columns["lesion"][one] != "")
        return one[near], other[near]


def _seen_before(values: Positions) -> npt.NDArray[np.bool_]:
    return pd.Series(values).duplicated().to_numpy()


def _repeated(values: Positions) -> npt.NDArray[np.bool_]:
    return pd.Series(values).duplicated(keep=False).to_numpy()


def _one_slip(one: str, other: str) -> bool:
    """Whether two texts differ by one letter that is another, too many or missing, or by two that changed places.

    Example
    -------
    >>> _one_slip("38", "39"), _one_slip("138", "38"), _one_slip("183", "138"), _one_slip("38", "41")
    (True, True, True, False)
    """
    if len(one) > len(other):
        one, other = other, one
    if len(other) - len(one) > 1 or one == other:
        return False
    if len(one) < len(other):
        return any(other[:place] + other[place + 1 :] == one for place in range(len(other)))
    apart = [place for place, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]
    if len(apart) == 2:
        first, second = apart
        return second == first + 1 and one[first] == other[second] and one[second] == other[first]
    return len(apart) == 1
