"""A cell of findings as a row of items: words of the trade, numbers, signs, separators, and what means nothing known.

The longest phrase wins. Between the words of a phrase only spaces, dots, hyphens and a tight slash may stand; a comma,
a plus, a line break or a spaced hyphen ends it. What the user has taught comes before the vocabulary.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache, lru_cache

from evenfoot.analytics.domain.feet import CLAWS, FEET, ZONES
from evenfoot.analytics.domain.lesions import DD_STAGES, LESIONS
from evenfoot.analytics.domain.lexicon import KINDS, phrases, plain, suggest

KIND_ORDER = (
    "certainty", "lesion", "other_lesion", "foot", "claw", "zone", "severity", "action", "nothing", "doubtful",
    "remark", "negation", "joiner", "filler", "cue", "month", "weekday",
)  # fmt: skip
"""Kinds of word that a cell may hold. Where a phrase is a word of two of them, the first counts."""

_COMMON = """
in out i o m l r back all left right front fore high low light bad heavy major minor small good fine clear clean sound
normal no not serious medium alt alte alle alles links rechts vorne hinten aussen innen gut schwer leicht was war had
better mal media medio dentro fuera todo todas todos avant arriere tout tous toutes bon bien ok voor achter goed licht
zwaar check watch against ik mit en et y e o a of on for
"""
COMMON_WORDS = frozenset(_COMMON.split())
"""Single words of the trade that are everyday words as well; beside a word that means nothing known they are prose.
[common practice, no source]"""

_TOKEN = re.compile(
    r"(?P<stage>(?<![^\W_])[mM] ?(?:4[.,]1|[0-4])(?![^\W_]))"
    r"|(?P<atom>[^\W_](?:[^\W_]|[\u0300-\u036f])*)"
    r"|(?P<plus>\(\++\)|\++)"
    r"|(?P<nothing>(?<=[^\W_])-(?=\s|\Z|[,;/])|(?<![^\s:,;/+(])[-\u2013\u2014]+(?=\s*(?:[,;/|&)\n\r]|\Z)))"
    r"|(?P<hard>[;\n\r\u2028\u2029]+)"
    r"|(?P<soft>[,|&]|(?<=\s)[-\u2013\u2014](?=\s))"
    r"|(?P<slash>/)"
    r"|(?P<unsure>\?+)"
    r"|(?P<colon>:)"
    r"|(?P<tick>[\u2713\u2714\u221a\u2611])"
)
_GLUE = re.compile(r"[^\S\n\r]*[-.'\u2019/_\u2013]?|\.?[^\S\n\r]+")
_CHAIN = re.compile(r"[.,/\u2013-]")
_CHAIN_ON = re.compile(r"(?:[.,/\u2013-][0-9]+)+(?![^\W_])")
"""What goes on behind a number: the rest of a range, a decimal, a fraction or a date."""
_LETTERS_NUMBER = re.compile(r"([a-z]+)([0-9]{1,2})")
_NUMBER_LETTERS = re.compile(r"([0-9])([a-z]+)")
_TIMES = re.compile(r"([a-z]*)x([0-9])|([0-9])x")
_LESION_STAGE = re.compile(r"([a-z]+)m([0-4])")
_LESION_PLACE = re.compile(r"([a-z]{1,3})([0-9]{1,2})([a-z]{1,2})")
"""A lesion, its zone or degree, and its claw, each as the sheet's own key spells it: ``U4e``."""
_FOOT_MORE = re.compile(r"([lr][fhr])([a-z]{1,3})")
_CLAW_LETTERS = {"o": "lateral", "l": "lateral", "i": "medial", "m": "medial"}
"""Claw behind the letters of a foot, such as RHO, LFM. [common practice, no source]"""
_ROMAN = {"i": 1, "ii": 2, "iii": 3}
LESION_KINDS = frozenset({"lesion", "other_lesion", "doubtful"})


@dataclass
class Item:
    """One item of a cell.

    Attributes
    ----------
    kind : str
        A kind of word, or ``"stage"``, ``"number"``, ``"range"``, ``"count"``, ``"tick"``, ``"separator"``,
        ``"colon"``, ``"unsure"``, ``"note"``, ``"unknown"``.
    value : str
        What it means; the digits of a number; the sign of a separator.
    start, end : int
        Where it stands in the text.
    tight : bool
        A number written together with the word before it.
    weak : bool
        A single everyday word, see :data:`COMMON_WORDS`.
    """

    kind: str
    value: str
    start: int
    end: int
    tight: bool = False
    weak: bool = False
    text: str = field(default="")


@cache
def _vocabulary() -> tuple[Mapping[str, tuple[str, str]], Mapping[str, int]]:
    """Phrase -> (kind, meaning); first word -> number of words of the longest phrase that begins with it."""
    found: dict[str, tuple[str, str]] = {}
    longest: dict[str, int] = {}
    for kind in KIND_ORDER:
        if kind not in KINDS:
            continue
        for phrase, means in phrases(kind).items():
            if phrase and not phrase.isdigit():
                found.setdefault(phrase, (kind, means))
                first, *rest = phrase.split()
                longest[first] = max(longest.get(first, 1), 1 + len(rest))
    return found, longest


_TAUGHT_KINDS = {
    "lesion": ("lesion", frozenset(LESIONS)),
    "severity": ("severity", frozenset("123")),
    "stage": ("stage", frozenset(DD_STAGES)),
    "foot": ("foot", frozenset(FEET)),
    "claw": ("claw", frozenset({*CLAWS, "both"})),
    "zone": ("zone", frozenset(str(zone) for zone in ZONES)),
    "action": ("action", frozenset({"trim", "block", "wrap", "refer", "other"})),
}


def taught_meaning(answer: str) -> tuple[str, str] | None:
    """Kind and value of what the user said a word means; ``None`` if it cannot be such an answer.

    Example
    -------
    >>> taught_meaning("lesion:SU"), taught_meaning("done"), taught_meaning("lesion:??")
    (('lesion', 'SU'), ('nothing', 'nothing'), None)
    """
    if answer in ("nothing", "done"):
        return "nothing", "nothing"
    if answer == "note":
        return "note", "note"
    if answer == "other":
        return "other_lesion", "other"
    name, _, value = answer.partition(":")
    kind, values = _TAUGHT_KINDS.get(name, ("", frozenset()))
    if name == "foot":
        return ("foot", value) if value and set(value.split()) <= set(FEET) else None
    return (kind, value) if value in values else None


@dataclass
class _Atom:
    text: str
    start: int
    end: int
    plain: str
    stage: bool


@dataclass(frozen=True)
class _Known:
    """Words that were taught, by phrase, and the longest phrases with them; see :func:`_vocabulary`."""

    taught: Mapping[str, str]
    meanings: Mapping[str, tuple[str, str]]
    longest: Mapping[str, int]


_last_known = _Known({}, {}, {})
"""Cell after cell is read with the same words, of which there may be as many as cells. Nobody changes them: who is
taught another word has another mapping."""


def _known_words(taught: Mapping[str, str]) -> _Known:
    global _last_known
    known = _last_known
    if known.taught is taught:
        return known
    meanings: dict[str, tuple[str, str]] = {}
    longest = dict(_vocabulary()[1])
    for word, answer in taught.items():
        means = taught_meaning(answer)
        phrase = plain(word)
        if means is not None and phrase and not is_compound(word):
            meanings[phrase] = means
            first, *rest = phrase.split()
            longest[first] = max(longest.get(first, 1), 1 + len(rest))
    known = _last_known = _Known(taught, meanings, longest)
    return known


def is_known(phrase: str) -> bool:
    """Whether a phrase, in its plain form, is a word of any kind that a cell may hold."""
    return phrase in _vocabulary()[0]


class Splitter:
    """Makes items of a text, with the words that were taught."""

    def __init__(self, taught: Mapping[str, str]) -> None:
        self._vocabulary, self._longest = _vocabulary()
        self._taught: Mapping[str, tuple[str, str]] = {}
        self._graded = taught.get("number") == "severity"
        if taught:
            known = _known_words(taught)
            self._taught, self._longest = known.meanings, known.longest

    def _known(self, phrase: str) -> tuple[str, str] | None:
        return self._taught.get(phrase) or self._vocabulary.get(phrase)

    def split(self, text: str) -> list[Item]:
        """Items of a text, in their order.

        Example
        -------
        >>> [(item.kind, item.value) for item in Splitter({}).split("SU out z4 ++")]
        [('lesion', 'SU'), ('claw', 'lateral'), ('zone', '4'), ('severity', '2')]
        """
        tokens = [(str(match.lastgroup), match) for match in _TOKEN.finditer(text)]
        items: list[Item] = []
        index = 0
        while index < len(tokens):
            name, match = tokens[index]
            if name in ("atom", "stage"):
                run = self._atoms(text, tokens, index)
                used = self._words(text, run, items)
                index = next(
                    k for k in range(index, len(tokens) + 1) if k == len(tokens) or tokens[k][1].start() >= used
                )
                continue
            items.extend(self._sign(text, name, match, items))
            index += 1
        for item in items:
            item.text = item.text or text[item.start : item.end]
        return items

    @staticmethod
    def _atoms(text: str, tokens: list[tuple[str, re.Match[str]]], index: int) -> list[_Atom]:
        """The words that a phrase beginning here may take in, at most a dozen."""
        run: list[_Atom] = []
        for name, match in tokens[index : index + 24]:
            if name == "slash":
                continue
            if name not in ("atom", "stage") or len(run) == 12:
                break
            if run and not _GLUE.fullmatch(text[run[-1].end : match.start()]):
                break
            run.append(_Atom(match[0], match.start(), match.end(), plain(match[0]), name == "stage"))
        return run

    def _words(self, text: str, run: list[_Atom], items: list[Item]) -> int:
        """Appends the item that the run begins with; returns where it ends."""
        first = run[0]
        most = min(len(run), self._longest.get(first.plain.split(" ")[0], 1))
        for count in range(most, 0, -1):
            if count == 1:
                initials = self._initials(text, run)
                if initials is not None:
                    items.append(initials)
                    return initials.end
            phrase = " ".join(atom.plain for atom in run[:count])
            end = run[count - 1].end
            known = (
                self._taught.get(phrase) if count == 1 and (first.stage or phrase.isdigit()) else self._known(phrase)
            )
            if count == 1 and self._taught and self._letters_taught(phrase):
                continue
            if known is None or (phrase[-1:].isdigit() and _CHAIN_ON.match(text, end)):
                continue
            kind, value = known
            if kind == "filler" and self._reaches_further(run, count):
                continue
            if kind == "claw" and count > 1 and self._lesion_begins_within(run, count, value):
                continue
            if kind == "filler" and value == "and":
                kind = "joiner"
            weak = count == 1 and phrase in COMMON_WORDS and phrase not in self._taught
            items.append(Item(kind, value, first.start, end, weak=weak))
            return end
        if first.stage and self._letters_taught(first.plain.replace(" ", "")):
            items.extend(self._mixed(replace(first, plain=first.plain.replace(" ", "")), items))
            return first.end
        if first.stage:
            items.append(
                Item("stage", "M" + re.sub(r"[^0-9.]", "", first.text.replace(",", ".")), first.start, first.end)
            )
            return first.end
        if re.fullmatch(r"[0-9]+", first.plain):
            return self._number(text, run, items)
        items.extend(self._mixed(first, items))
        rest = _CHAIN_ON.match(text, first.end)
        if rest is not None and items[-1].kind == "number" and items[-1].tight:
            items[-1].kind = "range"
            items[-1].value += rest[0].replace("\u2013", "-")
            items[-1].end = rest.end()
            return rest.end()
        return first.end

    def _letters_taught(self, word: str) -> bool:
        """Whether the letters before a number were taught as a lesion: "Z3" with "Z = sole ulcer" is no zone.

        "M2" is a stage, unless the sheet says that its numbers are degrees.
        """
        found = _LETTERS_NUMBER.fullmatch(word)
        if found is None or word in self._taught or self._taught.get(found[1], ("",))[0] != "lesion":
            return False
        return found[1] != "m" or (self._graded and found[2] in ("1", "2", "3"))

    def _lesion_begins_within(self, run: list[_Atom], count: int, claw: str) -> bool:
        """Whether the last word of a claw begins a lesion, and those before it are the claw: "inner toe ulcer"."""
        before = self._known(" ".join(atom.plain for atom in run[: count - 1]))
        if before != ("claw", claw):
            return False
        rest = run[count - 1 :]
        phrases = (" ".join(atom.plain for atom in rest[:size]) for size in range(2, len(rest) + 1))
        return any((known := self._known(phrase)) is not None and known[0] == "lesion" for phrase in phrases)

    def _reaches_further(self, run: list[_Atom], count: int) -> bool:
        """Whether a phrase of the trade begins within a filler and goes on behind it: "en las" before "las cuatro"."""
        for start in range(1, count):
            most = min(len(run) - start, self._longest.get(run[start].plain.split(" ")[0], 1))
            for size in range(most, count - start, -1):
                known = self._known(" ".join(atom.plain for atom in run[start : start + size]))
                if known is not None and known[0] not in ("filler", "joiner"):
                    return True
        return False

    def _initials(self, text: str, run: list[_Atom]) -> Item | None:
        """Letters with dots between them, such as ``L.H.``, as the code they spell."""
        count = 1
        while count < min(4, len(run)) and all(len(atom.plain) == 1 for atom in run[: count + 1]):
            if text[run[count - 1].end : run[count].start].strip() != ".":
                break
            count += 1
        for size in range(count, 1, -1):
            known = self._known("".join(atom.plain for atom in run[:size]))
            if known is not None:
                return Item(*known, run[0].start, run[size - 1].end)
        return None

    @staticmethod
    def _number(text: str, run: list[_Atom], items: list[Item]) -> int:
        """A number, or several with a sign between them (a range, a decimal, a fraction, a date)."""
        count = 1
        while (
            count < len(run)
            and re.fullmatch(r"[0-9]+", run[count].plain)
            and _CHAIN.fullmatch(text[run[count - 1].end : run[count].start])
        ):
            count += 1
        end = run[count - 1].end
        value = "".join(
            atom.plain + (text[atom.end : after.start] if after else "")
            for atom, after in zip(run[:count], [*run[1:count], None], strict=True)
        )
        items.append(Item("number" if count == 1 else "range", value.replace("\u2013", "-"), run[0].start, end))
        return end

    def _mixed(self, atom: _Atom, items: list[Item]) -> Iterator[Item]:
        """A word written together with a number (SU2, z4, DDx2, 2x, DDM2) or a foot (RHO); else an unknown word."""
        word, start, end = atom.plain, atom.start, atom.end

        def known(part: str, *kinds: str) -> Item | None:
            found = self._known(part)
            return Item(*found, start, end, text=atom.text[: len(part)]) if found and found[0] in kinds else None

        if (found := _TIMES.fullmatch(word)) is not None:
            lesion = known(found[1], *LESION_KINDS) if found[1] else None
            if lesion is not None or not found[1]:
                yield from () if lesion is None else (lesion,)
                yield Item("count", found[2] or found[3], start, end, tight=lesion is not None)
                return
        if (found := _LESION_STAGE.fullmatch(word)) is not None:
            lesion = known(found[1], "lesion")
            if lesion is not None and lesion.value == "DD":
                yield lesion
                yield Item("stage", f"M{found[2]}", start, end, tight=True)
                return
        if (found := _LETTERS_NUMBER.fullmatch(word)) is not None:
            before = known(found[1], *LESION_KINDS, "foot", "cue", "severity", "claw")
            if before is not None:
                yield before
                yield Item("number", found[2], start, end, tight=True)
                return
        if (found := _NUMBER_LETTERS.fullmatch(word)) is not None:
            after = known(found[2], *LESION_KINDS)
            if after is not None:
                after.text = atom.text[1:]
                yield Item("number", found[1], start, end)
                yield after
                return
        if (found := _LESION_PLACE.fullmatch(word)) is not None and found[1] in self._taught:
            lesion, last_part = known(found[1], "lesion"), self._taught.get(found[3])
            if lesion is not None and last_part is not None and last_part[0] in ("claw", "action"):
                yield lesion
                yield Item("number", found[2], start, end, tight=True)
                yield Item(*last_part, start, end, text=atom.text[-len(found[3]) :])
                return
        if (found := _FOOT_MORE.fullmatch(word)) is not None:
            foot = known(found[1], "foot")
            more = (
                Item("claw", _CLAW_LETTERS[found[2]], start, end)
                if found[2] in _CLAW_LETTERS
                else known(found[2], "lesion")
            )
            if foot is not None and more is not None:
                more.text = atom.text[2:]
                yield from (foot, more)
                return
        last = items[-1] if items else None
        if word in _ROMAN and last is not None and last.kind in (*LESION_KINDS, "cue"):
            yield Item("number", str(_ROMAN[word]), start, end)
            return
        yield Item("tick" if word == "x" else "unknown", word, start, end)

    @staticmethod
    def _sign(text: str, name: str, match: re.Match[str], items: list[Item]) -> Iterator[Item]:
        start, end = match.span()
        if name == "plus":
            yield from _plus(text, match, items)
        elif name in ("hard", "soft", "slash"):
            sign = {"hard": ";", "soft": ",", "slash": "/"}[name]
            yield Item("separator", match[0] if match[0] in "&-" else sign, start, end)
        elif name == "tick":
            yield Item("tick", "x", start, end)
        else:
            yield Item(name, match[0], start, end)


@lru_cache(maxsize=4096)
def is_compound(text: str) -> bool:
    """Whether a text is a lesion with more beside it (``WL 3``, ``SU healed``): whose answer is no word's.

    Example
    -------
    >>> is_compound("WL 3"), is_compound("sole ulcer"), is_compound("kicked")
    (True, False, False)
    """
    items = Splitter({}).split(text)
    if {item.kind for item in items} == {"doubtful", "unknown"} and suggest(("lesion",), text) is not None:
        # "digital dermatitus" is one name, misspelt.
        return False
    return len(items) > 1 and any(item.kind in LESION_KINDS for item in items)


def _plus(text: str, match: re.Match[str], items: list[Item]) -> Iterator[Item]:
    """A plus: severity where it is doubled, in brackets or stands last; else it joins two things."""
    start, end = match.span()
    count = match[0].count("+")
    level = str(count) if count <= 3 else "open"
    after = text[end:].lstrip(" \t\xa0")[:1]
    last = items[-1] if items else None
    if (
        last is not None
        and last.kind == "number"
        and last.end == start
        and count == 1
        and not text[end : end + 1].isalnum()
    ):
        last.kind = "severity" if last.value in ("1", "2", "3") else last.kind
        last.end = end
    elif count > 1 or match[0].startswith("("):
        yield Item("severity", level, start, end)
    elif after in ("", ",", ";", "/", "\n", "\r", ")", "|", "&") or (
        last is not None and last.end == start and text[end : end + 1].isspace()
    ):
        yield Item("severity", level, start, end)
        if after not in ("", ",", ";", "/", "\n", "\r", ")", "|", "&"):
            yield Item("separator", "+", end, end)
    else:
        yield Item("separator", "+", start, end)
