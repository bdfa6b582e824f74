"""What a cell was read as: findings, and what has to be asked about them."""

from __future__ import annotations

import re
from dataclasses import dataclass

from evenfoot.analytics.domain.lexicon import plain

_SIGNS = (("?", " unsure "), ("+", " plus "), ("\N{CHECK MARK}", " tick "), ("\N{HEAVY CHECK MARK}", " tick "))

_LONE_HYPHEN = re.compile(r"(?<!\S)[-\u2013\u2014]+(?!\S)")


def key_of(word: str) -> str:
    """The key under which an answer about a word is remembered: its plain form, with signs as words.

    Example
    -------
    >>> key_of("DD?"), key_of("Ulser "), key_of("++"), key_of("WL 3")
    ('dd unsure', 'ulser', 'plus plus', 'wl 3')
    """
    word = _LONE_HYPHEN.sub(" minus ", word)
    for sign, said in _SIGNS:
        word = word.replace(sign, said)
    return plain(word) or re.sub(r"\s+", " ", word).strip()


@dataclass(frozen=True)
class Finding:
    """One finding on one foot.

    Attributes
    ----------
    lesion : str
        A code of :data:`evenfoot.analytics.domain.lesions.PARENTS`, or ``"other"``.
    detail : str or None
        Code of a subtype, such as ``"WLA"``.
    stage : str or None
        Stage of digital dermatitis.
    foot, claw : str or None
        ``"LF"``, ``"RF"``, ``"LH"``, ``"RH"``; ``"lateral"``, ``"medial"``. ``None``: not told.
    zone : int or None
        0 to 12.
    severity : int or None
        1 to 3.
    words : str or None
        For ``"other"``: what was written.
    """

    lesion: str
    detail: str | None = None
    stage: str | None = None
    foot: str | None = None
    claw: str | None = None
    zone: int | None = None
    severity: int | None = None
    words: str | None = None


@dataclass(frozen=True)
class Doubt:
    """What is not certain and has to be asked.

    Attributes
    ----------
    word : str
        The words as written. :attr:`key` is what an answer is remembered under.
    about : str
        ``"lesion"``, ``"tick"``, ``"number"``, ``"severity"``, ``"zone"``, ``"stage"``, ``"claw"``, ``"foot"``,
        ``"negated"``, ``"healed"``, ``"healing"``, ``"uncertain"``, ``"another time"``, ``"action"`` or ``"score"``.
    choices : tuple of str
        Answers as ``taught`` takes them (``"lesion:SU"``, ``"severity:2"``, ``"nothing"``, ``"note"`` ...); may be
        empty where only the user can tell.
    default : str or None
        The best of them. The reading that comes with the doubt is made as if it were the answer.
    serious : bool
        The default, taken in silence, could make a wrong record.
    """

    word: str
    about: str
    choices: tuple[str, ...] = ()
    default: str | None = None
    serious: bool = False

    @property
    def key(self) -> str:
        """Key of an answer in ``taught``."""
        return key_of(self.word)


@dataclass(frozen=True)
class CellReading:
    """What a cell of findings says.

    Attributes
    ----------
    findings : tuple of Finding
    nothing : bool
        The cell says that it was looked at and that nothing was found.
    action : str or None
        ``"refer"``, ``"block"``, ``"wrap"``, ``"trim"`` or ``"other"``; the weightiest of several.
    feet : tuple of str
        Feet that are named without a lesion.
    claws : tuple of str
        Claws that are named without a lesion.
    unread : tuple of str
        Words that mean nothing known, kept for the note.
    doubts : tuple of Doubt
    """

    findings: tuple[Finding, ...] = ()
    nothing: bool = False
    action: str | None = None
    feet: tuple[str, ...] = ()
    claws: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()
    doubts: tuple[Doubt, ...] = ()
