"""What stands in a cell of findings: a small grammar for the shorthand of trimmers, in every language read.

A cell is split into words of the trade, numbers and signs (:mod:`evenfoot.analytics.intake.parsing.cell_items`), and
these are read by the following rules. All of them are [common practice, no source].

1. **Segments.** ``, / + & | and`` and a spaced hyphen part segments; ``;`` and a line break part clauses.
2. **Feet.** A foot before a lesion counts for what follows until the next foot (``LH SU RH WL``). A foot behind
   lesions counts for those before it (``SU/WL RH``, ``SU LH, WL RF``). Within a segment the first of foot and lesion
   decides. Feet beside each other are one group (``LH+RH DD``). Several feet or claws give one finding each.
   A lesion that no foot can be told of stays without one, and is asked about if the cell names feet elsewhere.
3. **Claw, zone, severity, stage** belong to the nearest lesion of their segment: to the one before them, unless the
   first of its kind stands in front of the first lesion (``slight HHE severe DD``). A segment without a lesion gives
   them to the lesion before it, else to the one behind it. A claw behind an action is the action's. Letters for a
   claw (``a``, ``i``, ``o``) are the claw behind a foot; behind a lesion they are asked, unless the sheet's language
   is known, and ``I`` is a degree and is asked.
4. **Plus.** ``++``, ``+++``, ``(+)``, ``3+`` and a last ``+`` are severity; any other ``+`` joins.
5. **Bare numbers.** With ``M`` a stage, with ``z`` a zone, with a word such as grade a severity. Else: 1 to 3 that is
   no usual zone of the lesion is severity; a usual zone above 3 is the zone. What can be both (``WL 3``) is a zone if
   a claw stands beside it, else the severity: it is taken so if written together (``WL1``), and is asked if not,
   since beside a lesion a number is mostly its degree (``SU 2``). 0 may say that there is none, and is asked.
   Any other number stays unread, and so does one in front of a lesion (``2 DD``), which counts. A number beside a
   word that means nothing known (``3 weeks``) is prose.
6. **Open degrees.** ``2-3``, ``2.5``, ``mild/mod``: no severity is taken, the lesion stays, and the severity is asked.
7. **Negation.** A negated lesion is no finding (``no ulcer``, ``no SU/DD``). Behind ``,`` or ``+`` the next lesion is
   a finding, and is asked about (``no SU, DD``).
8. **Not today.** A lesion with ``?`` stays and is asked. A healed one, or one of another time (``check DD next time``)
   is no finding by default, and is asked. A healing one stays.
9. **Nothing found.** ``ok``, ``-``, ``0``, ``trimmed``: looked at, nothing found. A mark (``x``) alone is asked.
10. **Unknown words.** Beside a known lesion, and in prose, they are unread. Alone, alone behind a foot, or as a token
    of up to three letters between separators, with digits behind them or not, they may be a lesion: the nearest word
    is proposed, and they are asked. So is a token that begins with the letters of a lesion beside a lesion or an
    action (``U4q block``).
11. **Taken off.** A block or wrap beside a word such as removed or lost was not put on: it is another action.

Everything that is not certain is a :class:`Doubt` with its default, and the reading is what follows if every default
is taken. Every word of a cell has a meaning, is unread, or stands in a doubt.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from types import MappingProxyType

from evenfoot.analytics.domain.feet import CLAWS, FEET
from evenfoot.analytics.domain.lesions import LESIONS, parent_of, says_nothing_found
from evenfoot.analytics.domain.lexicon import forms_meaning, phrases, plain, suggest
from evenfoot.analytics.intake.parsing.cell_items import (
    LESION_KINDS,
    Item,
    Splitter,
    is_compound,
    is_known,
    taught_meaning,
)
from evenfoot.analytics.intake.parsing.parse_results import CellReading, Doubt, Finding, key_of

__all__ = ["CellReading", "Doubt", "Finding", "healed_lesions", "key_of", "read_findings", "read_remark"]

LONGEST = 600
"""Letters of a cell that are read; what is behind them stays unread. [common practice, no source]"""
_NO_ANSWERS: Mapping[str, str] = MappingProxyType({})
_ACTION_WEIGHT = ("refer", "block", "wrap", "other", "trim")
_PROSE_WORDS = 4
"""From so many unknown words on a segment is prose, not the name of a lesion. [common practice, no source]"""
_PLACED = frozenset({"claw", "zone", "severity", "stage", "number", "range", "count", "certainty", "unsure", "side"})
_PROSE_KINDS = frozenset({"unknown", "month", "weekday"})


def read_findings(text: str, *, foot: str | None = None, taught: Mapping[str, str] = _NO_ANSWERS) -> CellReading:
    """Read a cell of findings.

    Parameters
    ----------
    text : str
    foot : str or None
        The foot of the column that the cell stands in.
    taught : mapping of str to str
        Key of a word or a doubt (:func:`key_of`) -> what it means: ``"lesion:SU"``, ``"other"``, ``"nothing"``,
        ``"done"`` (looked at, nothing found), ``"note"`` (no meaning), ``"severity:2"``, ``"zone:3"``,
        ``"stage:M2"``, ``"foot:LH"``, ``"claw:lateral"``, ``"action:block"``. The key ``"number"`` with
        ``"zone"``, ``"severity"`` or ``"note"`` settles every bare number that can be both, and the key
        ``"claw letters"`` holds the letters that stand for a claw in the language of the sheet.

    Returns
    -------
    CellReading
        Empty for a blank cell.

    Example
    -------
    >>> [(f.lesion, f.claw, f.zone, f.severity) for f in read_findings("SU out z4 ++").findings]
    [('SU', 'lateral', 4, 2)]
    >>> [(f.lesion, f.foot) for f in read_findings("LH SU, RH WL + HHE").findings]
    [('SU', 'LH'), ('WL', 'RH'), ('HHE', 'RH')]
    >>> read_findings("ok").nothing, read_findings("U").doubts[0].about
    (True, 'lesion')
    """
    return _Cell(foot, taught, is_prose=False).read(text)


def read_remark(text: str, taught: Mapping[str, str] = _NO_ANSWERS) -> CellReading:
    """Read a remark: the same grammar, but prose.

    Words that mean nothing known are unread and never asked about. A lesion that stands among such words is no
    finding; it is a doubt about ``"lesion"`` whose default is the note.

    Example
    -------
    >>> [(f.lesion, f.foot) for f in read_remark("warts both hind, seen by Tom").findings]
    [('DD', 'LH'), ('DD', 'RH')]
    >>> read_remark("told him about DD in heifers").findings
    ()
    """
    return _Cell(None, taught, is_prose=True).read(text)


@lru_cache(maxsize=4096)
def healed_lesions(text: str) -> tuple[str, ...] | None:
    """The lesions that a remark says are healed; none where it says so of the lesion beside it; else ``None``.

    Example
    -------
    >>> healed_lesions("old, grown out"), healed_lesions("ulcer healed"), healed_lesions("not healed yet")
    ((), ('SU',), None)
    """
    items = [item for item in Splitter({}).split(text[:LONGEST]) if item.kind != "filler"]
    others = ("negation", "unknown")
    says = any(
        item.kind == "certainty" and item.value == "healed" and (not index or items[index - 1].kind not in others)
        for index, item in enumerate(items)
    )
    return tuple(parent_of(item.value) for item in items if item.kind == "lesion") if says else None


_SHORTEST_NOTHING = 7
"""Letters of a misspelt "no lesion": of shorter words too many are near. [common practice, no source]"""
_IN_BRACKETS = re.compile(r"[^()]+\([^()]+\)\s*")
"""Words with others in brackets behind them, and nothing else."""
_PARTS_OF_FOOT = frozenset().union(
    *(forms_meaning("layout_word", part) for part in ("part of foot", "part of claw", "skin"))
)


@dataclass
class _Draft:
    """A lesion on its way to findings; ``at`` is its place among the items."""

    code: str
    at: int
    word: str
    segment: int
    words: str | None = None
    feet: tuple[str, ...] = ()
    claws: list[str] = field(default_factory=list)
    sides: list[tuple[str, str]] = field(default_factory=list)
    """L, R, or B for both, and the word as written; so are zones, severities and stages."""
    zones: list[tuple[str, str]] = field(default_factory=list)
    severities: list[tuple[str, str]] = field(default_factory=list)
    stages: list[tuple[str, str]] = field(default_factory=list)
    numbers: list[Item] = field(default_factory=list)
    counts: list[Item] = field(default_factory=list)
    states: list[Item] = field(default_factory=list)
    zone: str = ""
    severity: str = ""
    stage: str = ""
    """With zone and severity: the one that counts, empty where none does."""
    is_found: bool = True
    copied: _Draft | None = None
    early: list[Item] = field(default_factory=list)
    """What stands between the lesion and its first foot, which counts for its copies on other feet as well."""

    @property
    def parent(self) -> str:
        return parent_of(self.code) if self.code in LESIONS else self.code


@dataclass
class _Segment:
    index: int
    sign: str
    """The separator before it; empty at the start."""
    items: list[tuple[int, Item]] = field(default_factory=list)
    drafts: list[_Draft] = field(default_factory=list)
    colon: bool = False

    def has(self, *kinds: str) -> bool:
        return any(item.kind in kinds for _, item in self.items)

    @property
    def unknown(self) -> list[Item]:
        return [item for _, item in self.items if item.kind == "unknown"]


class _Cell:
    """One cell being read."""

    def __init__(self, foot: str | None, taught: Mapping[str, str], is_prose: bool) -> None:
        self.foot = foot
        self.taught = taught
        self.is_prose = is_prose
        self.text = ""
        self.items: list[Item] = []
        self.segments: list[_Segment] = []
        self.drafts: list[_Draft] = []
        self.doubts: list[Doubt] = []
        self.unread: list[tuple[int, int]] = []
        self.spare_feet: list[str] = []
        self.spare_claws: list[str] = []
        self.spare_states: list[Item] = []
        self.says_nothing = False
        self.actions: list[str] = []

    def read(self, text: str) -> CellReading:
        text = unicodedata.normalize("NFC", text)
        if not text.strip():
            return CellReading()
        if not self.is_prose and not self.taught and _is_unknown_word(text.strip()):
            return CellReading(unread=(text.strip(),), doubts=(_doubt_of_word(text.strip()),))
        whole = self._whole(text)
        if whole is not None:
            return whole
        self.text = text[:LONGEST]
        splitter = Splitter(self.taught)
        self.items = splitter.split(self.text)
        self._join_neighbours()
        self._find_claw_letters()
        self._find_prose()
        if not self.is_prose:
            self._propose_lesions()
        self._part()
        self._draft()
        self._take_brackets()
        self._negate()
        self._place_feet()
        self._place_rest()
        self._share()
        self._ask_unknown()
        reading = self._result()
        rest = text[LONGEST:].strip()
        return reading if not rest else CellReading(**{**vars(reading), "unread": (*reading.unread, rest)})

    # ------------------------------------------------------------------ whole cells

    def _whole(self, text: str) -> CellReading | None:
        """A cell that is read as a whole: taught, a mark, or a word for nothing found."""
        bare = text.strip()
        means = self._answer(bare) if self.taught and not is_compound(bare) else None
        if means is not None and means[0] in ("nothing", "note"):
            return CellReading(nothing=True) if means[0] == "nothing" else CellReading(unread=(bare,))
        if means is not None and means[0] in ("lesion", "other_lesion"):
            words = bare if means[1] == "other" else None
            draft = _Draft(means[1], 0, bare, 0, words, feet=(self.foot,) if self.foot else ())
            return CellReading(findings=tuple(self._expand(draft)))
        if bare.casefold() in _MARKS and self.is_prose:
            return CellReading(unread=(bare,))
        if bare.casefold() in _MARKS:
            doubt = Doubt(bare, "tick", ("done", "other", "note"), "done", True)
            return CellReading(nothing=True, doubts=(doubt,))
        is_yes = plain(bare) in phrases("yes") and plain(bare) not in phrases("remark")
        if is_yes and not plain(bare).isdigit() and not self.is_prose:
            return CellReading(doubts=(Doubt(bare, "tick", ("done", "other", "note"), None, True),))
        if _HYPHENS.fullmatch(bare) or plain(bare) in phrases("nothing") or plain(bare) in phrases("no"):
            return CellReading(nothing=True)
        if says_nothing_found(bare) and plain(bare) not in phrases("action"):
            return CellReading(nothing=True)
        return None

    # ------------------------------------------------------------------ items

    def _join_neighbours(self) -> None:
        """A word such as zone or grade gives the number behind it its meaning."""
        items: list[Item] = []
        for item in self.items:
            before = items[-1] if items else None
            if before is not None and item.start == before.end and item.value == "/" and _is_with(before, self.text):
                continue
            if before is not None and item.kind in LESION_KINDS and len(items) > 1 and _is_with(before, self.text):
                before.kind = "filler"
            if before is not None and before.kind == "colon" and len(items) > 1 and _is_cue(items[-2]):
                items.pop()
                before = items[-1]
            if (
                before is not None
                and {before.kind, item.kind} == {"tick", "number"}
                and "x" in self._between(before, item)
            ):
                number = item if item.kind == "number" else before
                items[-1] = self._merged("count", number.value, before, item)
            elif before is not None and _is_cue(before) and item.kind in ("number", "range", "severity"):
                items[-1] = self._keyed(before, item)
            else:
                foot = _other_side(items, item) or _same_foot(items, item)
                items.append(item if foot is None else Item("foot", foot, item.start, item.end, text=item.text))
        for before, after in pairwise(items):
            # "Nail in sole" says where, and not on which claw.
            part = after.kind in ("zone", "doubtful", "unknown") and plain(after.text) in _PARTS_OF_FOOT
            if before.kind == "claw" and plain(before.text) == "in" and part:
                before.kind, before.value = "filler", ""
        self.items = items

    def _find_claw_letters(self) -> None:
        """A letter that stands for a claw behind a foot or a lesion: ``HR a``, ``SG a``, ``SU i``."""
        items = self.items
        certain = self.taught.get("claw letters", "").split()
        for index, item in enumerate(items[1:], 1):
            word = plain(item.text)
            claw = _CLAW_LETTERS.get(word)
            if claw is None or item.kind not in ("filler", "joiner", "unknown", "number") or word in self.taught:
                continue
            before, after = items[index - 1], items[index + 1] if index + 1 < len(items) else None
            if item.kind == "joiner" and after is not None and after.kind != "separator":
                continue  # "PE e PD" are both feet.
            behind_foot = before.kind == "foot"
            sure = word in certain
            parts = (
                after is None
                or after.kind == "separator"
                or after.kind in _PLACED - {"count"}
                or ((item.kind == "number" or sure) and after.kind in (*LESION_KINDS, "foot"))
            )
            if not (behind_foot and after is not None and after.kind in LESION_KINDS) and not (
                parts and (behind_foot or before.kind in _BEFORE_CLAW or (sure and _is_code(before)))
            ):
                continue
            is_degree = item.text == "I" and not behind_foot
            if is_degree or not (sure or (behind_foot and (parts or item.kind == "unknown"))):
                level = ("severity:1",) if word == "i" else ()
                choices = (*level, f"claw:{claw}") if is_degree else (f"claw:{claw}", *level)
                self.doubts.append(Doubt(item.text, "claw", (*choices, "note"), choices[0], word in _OFTEN_ELSE))
            if not is_degree:
                item.kind, item.value, item.weak = "claw", claw, False

    def _between(self, first: Item, last: Item) -> str:
        return self.text[first.start : last.end].casefold()

    def _merged(self, kind: str, value: str, first: Item, last: Item) -> Item:
        start, end = min(first.start, last.start), max(first.end, last.end)
        return Item(kind, value, start, end, text=self.text[start:end])

    def _keyed(self, cue: Item, item: Item) -> Item:
        kind, value = phrases("cue")[plain(cue.text)], item.value
        if item.kind == "range":
            fraction = re.fullmatch(r"([1-3])/3", value)
            value = fraction[1] if kind == "severity" and fraction else "open"
        elif kind == "zone":
            value = value if value.isdigit() and int(value) <= 12 else "open"
        elif kind == "severity":
            value = value if value in ("1", "2", "3") else "open"
        elif kind == "score":
            kind = "unknown"
        elif kind == "stage":
            value = f"M{value}" if value in ("0", "1", "2", "3", "4") else "open"
        return self._merged(kind, value, cue, item)

    def _find_prose(self) -> None:
        """Numbers, everyday words, cues and joiners beside words that mean nothing known are prose too."""
        for items in (self.items, self.items[::-1]):
            last: Item | None = None
            for item in items:
                beside = last is not None and last.kind in _PROSE_KINDS
                can_be_prose = item.weak or item.kind in ("number", "range", "joiner", "count", "filler")
                if (beside and can_be_prose) or item.kind in ("month", "weekday", "cue"):
                    item.kind = "unknown"
                last = item
        items = self.items
        if all(item.kind in ("filler", "separator", "joiner") for item in items):
            for item in items:
                item.kind = "unknown" if item.kind == "filler" else item.kind
        for index, item in enumerate(items):
            after = items[index + 1] if index + 1 < len(items) else None
            counts = after is not None and after.kind == "action" and after.text.casefold().endswith("s")
            if item.kind in ("range", "number") and (counts or not self._is_degree(item)):
                item.kind = "unknown"
            if item.kind in ("joiner", "filler") and len(plain(item.text)) == 1:
                beside_words = [
                    near.kind for near in (*items[max(index - 1, 0) : index], *items[index + 1 : index + 2])
                ]
                if len(beside_words) < 2 or {"separator", "unknown"} & set(beside_words):
                    item.kind = "unknown"
            if item.kind == "separator" and item.value == "-" and 0 < index < len(items) - 1:
                self._weigh_hyphen(items[index - 1], item, items[index + 1])
            if (
                item.kind == "claw"
                and plain(item.text) == "in"
                and index + 1 < len(items)
                and items[index + 1].kind in ("foot", "zone", "lesion")
                and index
                and items[index - 1].kind in LESION_KINDS
            ):
                # "WL in z1" names the inner claw, "WL in zone 1" and "WL in LH" a place.
                short = items[index + 1].kind == "zone" and _SHORT_ZONE.fullmatch(items[index + 1].text) is not None
                if not short:
                    item.kind = "filler"
                    self.doubts.append(Doubt(item.text, "claw", ("claw:medial", "note"), "note"))

    def _weigh_hyphen(self, before: Item, hyphen: Item, after: Item) -> None:
        """A hyphen between two feet says that the first is sound (``LF - RF - LH SU``), or joins them: it is asked."""
        if before.kind != "foot" or after.kind != "foot":
            return
        word = f"{before.text} - {after.text}"
        answer = self._answer(word)
        if answer is not None and answer[0] == "foot":
            return
        hyphen.kind = "nothing"
        if answer is None:
            both = f"foot:{before.value} {after.value}"
            self.doubts.append(Doubt(word, "foot", ("nothing", both), "nothing", True))

    @staticmethod
    def _is_degree(item: Item) -> bool:
        """Whether a number or a range can stand for a zone or a severity; a date, a dose, a cow cannot."""
        if item.kind == "number":
            return len(item.value) <= 2 and int(item.value) <= 12
        return _DEGREES.fullmatch(item.value) is not None

    def _propose_lesions(self) -> None:
        """Unknown words that are nearly a word for a lesion become that lesion, and are asked about."""
        items = self.items
        index = 0
        tries = 0
        while index < len(items):
            run = index
            while run < len(items) and items[run].kind in ("unknown", "doubtful") and items[run].text[:1].isalpha():
                run += 1
            if run == index:
                index += 1
                continue
            if run - index < _PROSE_WORDS:
                first = index - 1 if index and items[index - 1].kind == "zone" else index
                whole = plain(self.text[items[first].start : items[run - 1].end])
                if first < index and items[first].text.isalpha() and nearest_lesion(whole) is not None:
                    # "Interdigital" is a zone alone, and part of the word here.
                    index = first
                for start, end in _spans(index, run):
                    if all(item.kind == "doubtful" for item in items[start:end]):
                        continue
                    tries += 1
                    if tries > _MOST_TRIES:
                        return
                    words = plain(self.text[items[start].start : items[end - 1].end])
                    near = nearest_lesion(words)
                    if near is not None:
                        item = self._merged("lesion", near, items[start], items[end - 1])
                        self.doubts.append(
                            Doubt(item.text, "lesion", (f"lesion:{near}", "other", "note"), f"lesion:{near}", True)
                        )
                        items[start:end] = [item]
                        run = start + 1
                        break
            index = run

    # ------------------------------------------------------------------ segments and lesions

    def _part(self) -> None:
        segment = _Segment(0, "")
        self.segments = [segment]
        for index, item in enumerate(self.items):
            joins = item.kind == "joiner" and item.value in ("and", "or")
            if item.kind == "separator" or joins:
                sign = {"and": "&", "or": "/"}[item.value] if joins else item.value
                if segment.items:
                    segment = _Segment(len(self.segments), sign)
                    self.segments.append(segment)
                elif sign == ";" or not segment.sign:
                    segment.sign = sign if self.segments[:-1] else segment.sign
            elif item.kind == "colon":
                segment.colon = True
            elif item.kind != "filler":
                segment.items.append((index, item))
        if not segment.items and len(self.segments) > 1:
            self.segments.pop()

    def _draft(self) -> None:
        for segment in self.segments:
            for at, item in segment.items:
                if item.kind == "lesion":
                    self._add_draft(segment, _Draft(item.value, at, item.text, segment.index))
                elif item.kind == "other_lesion":
                    self._add_draft(segment, _Draft("other", at, item.text, segment.index, words=item.text))
            for at, item in segment.items:
                if item.kind == "zone":
                    self._find_lesion_in_zone(segment, at, item)
                if item.kind == "doubtful":
                    self._weigh(segment, at, item)
            stages = [(at, item) for at, item in segment.items if item.kind == "stage"]
            if stages and not any(draft.parent == "DD" for draft in segment.drafts):
                before = segment.index and self.segments[segment.index - 1]
                is_own = bool(segment.drafts) or segment.has("foot")
                if is_own or not (before and any(draft.parent == "DD" for draft in before.drafts)):
                    at, item = stages[0]
                    if item.value != "open":
                        self._add_draft(segment, _Draft("DD", at, item.text, segment.index))
            segment.drafts.sort(key=lambda draft: draft.at)
            for draft in segment.drafts:
                draft.words = draft.words if draft.code == "other" else None
            self.drafts.extend(segment.drafts)

    def _take_brackets(self) -> None:
        """A lesion with another in brackets right behind it is one lesion: the brackets say which."""
        match = _IN_BRACKETS.fullmatch(self.text)
        if match is None or len(self.drafts) != 2 or any(item.kind in ("foot", "claw") for item in self.items):
            return
        outer, inner = sorted(self.drafts, key=lambda draft: draft.at)
        if outer.code == "other" and inner.code == "other":
            inner.words = self.text.strip()
        else:
            choices = (f"lesion:{inner.code}", f"lesion:{outer.code}", "note")
            self.doubts.append(Doubt(self.text.strip(), "lesion", choices, choices[0], True))
        for segment in self.segments:
            segment.drafts = [draft for draft in segment.drafts if draft is not outer]
        self.drafts.remove(outer)

    def _add_draft(self, segment: _Segment, draft: _Draft) -> None:
        """Adds a lesion; the same lesion named twice side by side is one, with the more exact name."""
        last = segment.drafts[-1] if segment.drafts else None
        is_beside = last is not None and not any(last.at < at < draft.at for at, _ in segment.items)
        if last is not None and is_beside:
            turned = phrases("lesion").get(f"{plain(draft.word)} {plain(last.word)}")
            if turned is not None:
                last.code, last.word = turned, f"{last.word} {draft.word}"
                return
            is_known = draft.code == draft.parent or last.code in (last.parent, draft.code)
            if draft.code != "other" and last.parent == draft.parent and is_known:
                last.code = draft.code if draft.code != draft.parent else last.code
                last.word = f"{last.word} {draft.word}"
                return
        segment.drafts.append(draft)

    def _weigh(self, segment: _Segment, at: int, item: Item) -> None:
        """A word that can mean several things: its candidates are weighed against the rest of the segment."""
        candidates = item.value.split()
        codes = [code for code in candidates if code in LESIONS]
        zones = [zone for zone in candidates if zone.isdigit()]
        feet = [foot for foot in candidates if foot in FEET]
        near = _nearest(segment.drafts, at, False) if segment.drafts else None
        item.kind = "asked"
        if {"left", "right", "both"} & set(candidates):
            item.kind, item.value = "side", {"left": "L", "right": "R", "both": "B"}[candidates[0]]
        elif "trim" in candidates:
            item.kind, item.value = "action", "trim"
            self.doubts.append(Doubt(item.text, "action", ("action:trim", "action:other", "note"), "action:trim"))
        elif "nothing" in candidates:
            item.kind, item.value = "certainty", "healed"
        elif near is not None and (same := [code for code in codes if parent_of(code) == near.parent]):
            near.code = same[0] if near.code == near.parent else near.code
            item.kind = "filler"
        elif "filler" in candidates and near is not None and not item.text.isupper():
            item.kind = "filler"
        elif feet and near is not None:
            item.kind, item.value = "foot", feet[0]
            self.doubts.append(Doubt(item.text, "foot", (f"foot:{feet[0]}", "note"), f"foot:{feet[0]}", True))
        elif zones and near is not None:
            self._weigh_zones(near, item, zones)
        else:
            choices = [*(f"lesion:{code}" for code in codes), *(("other",) if "other" in candidates else ()), "note"]
            is_alone = near is None and not zones
            default = choices[0] if is_alone else "note" if near is not None else None
            self.doubts.append(Doubt(item.text, "lesion", tuple(choices), default, True))
            if is_alone:
                self._add_draft(
                    segment, _Draft(codes[0] if codes else "other", at, item.text, segment.index, item.text)
                )

    def _find_lesion_in_zone(self, segment: _Segment, at: int, item: Item) -> None:
        """A zone named after the white line says the lesion too, unless another one stands there that it fits."""
        code = _lesion_in(plain(item.text))
        near = _nearest(segment.drafts, at, False) if segment.drafts else None
        if code is None or item.value == "open":
            return
        if near is not None and (near.code not in LESIONS or int(item.value) in LESIONS[near.code].usual_zones):
            return
        claws = [phrases("claw").get(word) for word in plain(item.text).split()]
        draft = _Draft(code, at, item.text, segment.index)
        self._add_draft(segment, draft)
        for claw in claws:
            if claw in CLAWS:
                item.kind, item.value = "claw", claw

    def _weigh_zones(self, near: _Draft, item: Item, zones: list[str]) -> None:
        """A place such as heel or toe beside a lesion: the one of its zones that is usual for the lesion."""
        usual = LESIONS[near.code].usual_zones if near.code in LESIONS else ()
        fits = [zone for zone in zones if int(zone) in usual]
        choices = tuple(f"zone:{zone}" for zone in fits or zones)
        if len(fits) == 1:
            item.kind, item.value = "zone", fits[0]
        self.doubts.append(Doubt(item.text, "zone", (*choices, "note"), choices[0] if len(fits) == 1 else "note"))

    def _negate(self) -> None:
        for number, segment in enumerate(self.segments):
            for at, item in segment.items:
                if item.kind != "negation":
                    continue
                follows = [draft for draft in segment.drafts if draft.at > at]
                between = {
                    other.kind for place, other in segment.items if at < place < (follows[0].at if follows else 0)
                }
                if not follows or between - {"severity", "claw", "zone", "certainty", "side", "foot"}:
                    self._negate_alone(segment, at, item)
                    continue
                follows[0].is_found = False
                self.says_nothing = True
                self._negate_more(number)

    def _negate_alone(self, segment: _Segment, at: int, item: Item) -> None:
        """A negation without a lesion behind it: it turns the lesion before it round, or is prose."""
        before = [draft for draft in segment.drafts if draft.at < at]
        last = max((place for place, _ in segment.items), default=at)
        if before and at == last:
            item.kind = "nothing"
            return
        item.kind = "unknown"
        for place, other in segment.items:
            if place == at + 1 and other.kind in ("action", "nothing"):
                other.kind = "unknown"

    def _negate_more(self, number: int) -> None:
        """The lesions that are joined to a negated one."""
        for segment in self.segments[number + 1 :]:
            if segment.sign == ";" or not segment.drafts or segment.has("negation"):
                return
            draft = segment.drafts[0]
            if segment.sign == "/":
                draft.is_found = False
                continue
            answer = self._answer(f"no {draft.word}")
            if answer is not None:
                draft.is_found = answer[0] != "nothing"
            else:
                choices = (_lesion_answer(draft), "nothing")
                self.doubts.append(Doubt(f"no {draft.word}", "negated", choices, choices[0], True))
            return

    def _answer(self, word: str) -> tuple[str, str] | None:
        return taught_meaning(self.taught.get(key_of(word), ""))

    # ------------------------------------------------------------------ feet

    def _place_feet(self) -> None:
        walk = _FootWalk(self)
        for segment in self.segments:
            walk.take(segment)
        walk.finish()
        if self.foot is None:
            return
        named = [foot for draft in self.drafts for foot in draft.feet]
        for draft in self.drafts:
            draft.feet = draft.feet or (self.foot,)
        strange = sorted({*named, *self.spare_feet} - {self.foot}, key=FEET.index)
        if not strange:
            return
        word = f"{' '.join(strange)} in {self.foot}"
        answer = self._answer(word)
        if answer is None:
            choices = (f"foot:{self.foot}", f"foot:{' '.join(strange)}")
            self.doubts.append(Doubt(word, "foot", choices, choices[1], True))
        elif answer == ("foot", self.foot):
            self.spare_feet = []
            for draft in self.drafts:
                draft.feet = (self.foot,)

    # ------------------------------------------------------------------ claw, zone, severity, stage

    def _place_rest(self) -> None:
        for segment in self.segments:
            drafts = sorted(segment.drafts, key=lambda draft: draft.at)
            first = drafts[0].at if drafts else None
            forward: dict[str, bool] = {}
            last_kind = ""
            for at, item in segment.items:
                kind = item.kind
                if kind in _PLACED:
                    group = "severity" if kind in ("number", "range") else kind
                    is_of_action = last_kind == "action" and self._is_of_action(at)
                    parted = self._is_parted(segment, item)
                    if kind == "claw" and not parted and (is_of_action or (segment.has("action") and not drafts)):
                        self._leave(item)
                        continue
                    target: _Draft | None
                    if first is not None:
                        target = _nearest(drafts, at, forward.setdefault(group, at < first))
                    else:
                        target = self._elsewhere(segment, parted=parted, is_stage=kind == "stage")
                    self._place(target, item)
                    if target is not None and target.copied is None and not _has_foot(segment, target.at, at):
                        target.early.append(item)
                elif kind == "nothing" and drafts and not self._is_of_other_foot(segment, at):
                    _nearest(drafts, at, False).states.append(item)
                elif kind == "nothing" and segment.sign == "-" and len(segment.items) == 1 and segment.index:
                    before = self.segments[segment.index - 1].drafts
                    if before:
                        before[-1].states.append(item)
                    self.says_nothing = self.says_nothing or not before
                elif kind == "number" and item.value == "0" and segment.has("foot") and not drafts:
                    self.says_nothing = True
                elif kind in ("nothing", "tick"):
                    self.says_nothing = True
                    if kind == "tick":
                        self.doubts.append(Doubt(item.text, "tick", ("done", "other", "note"), "done", True))
                elif kind == "action":
                    self.actions.append("other" if self._is_taken_off(segment, item) else item.value)
                elif kind in ("note", "remark") or (kind == "negation" and not drafts):
                    self._leave(item)
                last_kind = kind
            for item in segment.unknown:
                self._leave(item)

    def _share(self) -> None:
        """Copies on other feet take what they have not of their own (``DD M2 LH + RH``)."""
        for draft in self.drafts:
            own = {
                "claw": draft.claws or draft.sides,
                "zone": draft.zones,
                "severity": draft.severities or draft.numbers,
                "stage": draft.stages,
            }
            first = draft.copied
            while first is not None and first.copied is not None:
                first = first.copied
            for item in first.early if first is not None else ():
                if not own.get({"side": "claw", "number": "severity", "range": "severity"}.get(item.kind, item.kind)):
                    self._place(draft, item)

    def _is_of_action(self, at: int) -> bool:
        """Whether the claw behind an action is the action's: it stands next to it, but for words such as on."""
        place = at - 1
        while place >= 0 and self.items[place].kind == "filler":
            place -= 1
        return place >= 0 and self.items[place].kind == "action"

    @staticmethod
    def _is_of_other_foot(segment: _Segment, at: int) -> bool:
        """Whether a word for nothing found stands behind or before another foot than the lesion does."""
        return _has_foot(segment, min(segment.drafts, key=lambda draft: abs(draft.at - at)).at, at)

    def _is_parted(self, segment: _Segment, item: Item) -> bool:
        """Whether a full stop parts what is said from the actions behind it: "outer claw. Block"."""
        actions = [other for _, other in segment.items if other.kind == "action"]
        return bool(actions) and all("." in self.text[item.end : action.start] for action in actions)

    def _elsewhere(self, segment: _Segment, *, parted: bool, is_stage: bool) -> _Draft | None:
        """The lesion that a segment without one speaks of: of its clause, before it, else behind it."""
        if (
            segment.has("foot", "nothing")
            or (segment.has("unknown") and not is_stage)
            or (segment.has("action") and not parted)
        ):
            return None
        for step in (-1, 1):
            place = segment.index
            while 0 <= place + step < len(self.segments):
                if step < 0 and self.segments[place].sign == ";":
                    break
                place += step
                if step > 0 and self.segments[place].sign == ";":
                    break
                if self.segments[place].drafts:
                    drafts = self.segments[place].drafts
                    return drafts[-1] if step < 0 else drafts[0]
                feet = {foot for _, item in self.segments[place].items if item.kind == "foot"
                        for foot in item.value.split()}  # fmt: skip
                before = self.segments[place - 1].drafts if step < 0 and place else []
                if self.segments[place].has("action") or (feet and not (before and feet <= set(before[-1].feet))):
                    break
        return None

    def _place(self, draft: _Draft | None, item: Item) -> None:
        kind = item.kind
        if draft is None:
            if kind == "claw":
                self.spare_claws.extend(CLAWS if item.value == "both" else (item.value,))
            elif kind == "unsure":
                if not (self.unread and self.unread[-1][1] == item.start):
                    self.spare_states.append(item)
                self._leave(item)
            elif kind == "side" and item.value == "B":
                self.spare_claws.extend(CLAWS if self.foot else ())
                if not self.foot:
                    self._leave(item)
                    self.doubts.append(Doubt(item.text, "foot", (*_BOTH_FEET, "note"), "note"))
            elif kind == "side" and self.foot is not None:
                self.spare_claws.append(_claw_of_side(item.value, self.foot))
            elif kind == "side":
                self._leave(item)
                self.doubts.append(Doubt(item.text, "foot", (*_feet_of_side(item.value), "note"), "note"))
            else:
                self._leave(item)
                self.spare_states.append(item)
        elif kind == "claw":
            if item.value in ("left", "right"):
                draft.sides.append((item.value[0].upper(), item.text))
            else:
                draft.claws.extend(CLAWS if item.value == "both" else (item.value,))
        elif kind == "side":
            draft.sides.append((item.value, item.text))
        elif kind == "zone":
            draft.zones.append((item.value, item.text))
        elif kind == "severity":
            draft.severities.append((item.value, item.text))
        elif kind == "stage":
            draft.stages.append((item.value, item.text))
        elif kind == "number" and item.start < self.items[draft.at].start:
            draft.counts.append(item)
        elif kind in ("number", "range"):
            draft.numbers.append(item)
        elif kind == "count":
            draft.counts.append(item)
        else:
            draft.states.append(item)

    def _leave(self, item: Item) -> None:
        self.unread.append((item.start, item.end))

    # ------------------------------------------------------------------ what is asked

    def _ask_unknown(self) -> None:
        """Unknown words that may be a lesion."""
        if self.is_prose:
            self._ask_lesions_in_prose()
            return
        has_lesion = bool(self.drafts)
        for segment in self.segments:
            unknown = segment.unknown
            self._ask_coded(segment, unknown)
            if segment.drafts or segment.has("nothing", "action", "asked", "stage") or self.says_nothing:
                continue
            if not unknown:
                if has_lesion and segment.has("foot") and segment.has("number", "range", "severity", "zone"):
                    words = self.text[segment.items[0][1].start : segment.items[-1][1].end]
                    self.doubts.append(Doubt(words, "lesion", ("other", "nothing", "note"), None, True))
                continue
            told = [item for _, item in segment.items if item.kind in ("unknown", "remark")]
            words = self.text[told[0].start : told[-1].end]
            short = len(unknown) == 1 and _is_token(unknown[0])
            if has_lesion and not short and not segment.has("foot"):
                continue
            if self.actions and not short and not segment.has("foot"):
                continue
            has_number = any(item.text[0].isdigit() for item in unknown)
            is_prose = len(told) >= _PROSE_WORDS or segment.has("remark") or (has_number and len(unknown) > 1)
            if has_lesion and is_prose:
                continue
            digits = not any(letter.isalpha() for letter in words)
            if digits and has_lesion:
                continue
            choices = () if short or digits else ("other", "nothing", "note")
            about = "number" if digits else "lesion"
            near_nothing = _is_near_nothing(words)
            default = "nothing" if near_nothing else "note" if is_prose else None
            self.says_nothing = self.says_nothing or near_nothing
            self.doubts.append(Doubt(words, about, choices, default, True))
        if has_lesion or self.says_nothing or any(doubt.about in ("lesion", "tick") for doubt in self.doubts):
            return
        if self._ask_rest():
            return
        rest = [item for item in self.spare_states if item.kind in ("severity", "zone", "number", "range", "certainty",
                                                                     "unsure", "count", "stage")]  # fmt: skip
        if rest:
            words = self.text[rest[0].start : rest[-1].end]
            about = "number" if all(item.kind in ("number", "range", "count") for item in rest) else "lesion"
            if not any(doubt.about == about for doubt in self.doubts):
                self.doubts.append(Doubt(words, about, ("other", "nothing", "note"), None, True))
        elif not self.items:
            words = self.text.strip()
            self.unread.append((0, len(self.text)))
            self.doubts.append(Doubt(words, "lesion", ("done", "other", "note"), None, True))

    def _is_taken_off(self, segment: _Segment, item: Item) -> bool:
        """Whether words near a block or wrap say that it was removed or lost: "block RH removed"."""
        if item.value not in ("block", "wrap") or " " in plain(item.text):
            return False
        first, last = segment.items[0][1].start, segment.items[-1][1].end
        before = plain(self.text[first : item.start]).split()[-WORDS_BETWEEN:]
        behind = plain(self.text[item.end : last]).split()[:WORDS_BETWEEN]
        return not _TAKEN_OFF.isdisjoint((*before, *behind))

    def _ask_coded(self, segment: _Segment, unknown: Sequence[Item]) -> None:
        """Ask about words beside a lesion or an action that begin with the letters of a lesion, such as ``U4e``."""
        if not segment.drafts and not segment.has("action"):
            return
        for item in unknown:
            found = _CODED.fullmatch(item.value)
            means = self._answer(found[1]) or _meaning_of_lesion(found[1]) if found else None
            if means is not None and means[0] == "lesion" and plain(item.text) not in self.taught:
                self.doubts.append(Doubt(item.text, "lesion", ("other", "nothing", "note"), None, True))

    def _ask_rest(self) -> bool:
        """A cell without a lesion that only says healed, or only a remark such as long or lame."""
        told = [item for item in self.items if item.kind in ("certainty", "remark")]
        if not told or any(item.kind in ("unknown", "action") for item in self.items):
            return False
        item = told[0]
        is_fine = item.value in ("healed", "absent", "overgrown")
        if is_fine:
            self.says_nothing = True
        about = "healed" if item.value == "healed" else "lesion"
        default = "nothing" if is_fine else "note"
        self.doubts.append(Doubt(item.text, about, ("nothing", "other", "note"), default, item.value != "overgrown"))
        return True

    def _ask_lesions_in_prose(self) -> None:
        """A lesion among unknown words is asked about, not believed."""
        self.doubts = [doubt for doubt in self.doubts if doubt.about != "tick"]
        for segment in self.segments:
            found = [draft for draft in segment.drafts if draft.is_found]
            if not found or not (segment.unknown or any(self._is_purpose(draft) for draft in found)):
                continue
            start = min(item.start for _, item in segment.items)
            end = max(item.end for _, item in segment.items)
            words = self.text[start:end]
            answer = self._answer(words)
            if answer is not None and answer[0] == "lesion":
                continue
            for draft in found:
                draft.is_found = False
            if answer is None:
                codes = tuple(dict.fromkeys(_lesion_answer(draft) for draft in found))
                self.doubts.append(Doubt(words, "lesion", (*codes, "note"), "note", True))

    def _is_purpose(self, draft: _Draft) -> bool:
        """Whether a lesion is what something is for (``footbath for DD``)."""
        before = self.items[draft.at - 1] if draft.at else None
        return before is not None and before.kind == "filler" and plain(before.text) in _FOR

    # ------------------------------------------------------------------ the reading

    def _result(self) -> CellReading:
        findings: list[Finding] = []
        for draft in self.drafts:
            if draft.is_found and self._settle(draft):
                findings.extend(self._expand(draft))
        unread = tuple(dict.fromkeys(self._chunks()))
        action = next((name for name in _ACTION_WEIGHT if name in self.actions), None)
        trimmed = action == "trim" and not self.drafts and not unread and not self.doubts
        nothing = not findings and (self.says_nothing or trimmed)
        if self.is_prose and nothing and not self._is_nothing_certain():
            nothing = False
        return CellReading(
            findings=tuple(dict.fromkeys(findings)),
            nothing=nothing,
            action=action,
            feet=tuple(dict.fromkeys(self.spare_feet)),
            claws=tuple(dict.fromkeys(self.spare_claws)),
            unread=unread,
            doubts=tuple(dict.fromkeys(self.doubts)),
        )

    def _is_nothing_certain(self) -> bool:
        """In prose: a single everyday word (good, fine) among other words says nothing about the feet."""
        if not self.unread:
            return True
        return any(item.kind == "nothing" and not item.weak for item in self.items) or any(
            not draft.is_found for draft in self.drafts
        )

    def _chunks(self) -> Iterable[str]:
        """What is unread, as written; pieces with nothing but spaces, joiners or punctuation between them are one."""
        left = sorted(self._with_fillers(set(self.unread)))
        bounds = sorted((item.start, item.end) for item in self.items)
        taken = {span for span in bounds if span not in set(left)}
        fill = {(item.start, item.end) for item in self.items if item.kind in ("filler", "joiner", "colon")}
        meant = sorted(taken - fill - {(i.start, i.end) for i in self.items if i.kind == "separator"})
        parts = sorted((i.start, i.end) for i in self.items if i.kind == "separator")
        walls = [start for start, _ in sorted([*meant, *parts])]
        piece: tuple[int, int] | None = None
        wall = 0
        for start, end in left:
            while wall < len(walls) and piece is not None and walls[wall] < piece[1]:
                wall += 1
            if piece is not None and not (wall < len(walls) and walls[wall] < start):
                piece = (piece[0], max(piece[1], end))
                continue
            if piece is not None:
                yield self.text[piece[0] : piece[1]].strip()
            piece = (start, end)
        if piece is not None:
            yield self.text[piece[0] : piece[1]].strip()

    def _with_fillers(self, left: set[tuple[int, int]]) -> set[tuple[int, int]]:
        """What is unread with the small words beside it, which belong to its sentence."""
        for items in (self.items, self.items[::-1]):
            is_left = False
            for item in items:
                if item.kind in ("filler", "joiner") and is_left:
                    left.add((item.start, item.end))
                is_left = (item.start, item.end) in left
        return left

    def _settle(self, draft: _Draft) -> bool:
        """Resolves numbers, open degrees and states; whether the lesion is a finding."""
        for item in draft.numbers:
            self._settle_number(draft, item)
        for item in draft.counts:
            self._settle_count(draft, item)
        draft.severity = self._only("severity", draft, draft.severities)
        draft.stage = self._only("stage", draft, draft.stages)
        draft.zone = self._only("zone", draft, draft.zones)
        states = {item.value if item.kind == "certainty" else item.kind: item for item in reversed(draft.states)}
        stays = [self._settle_state(draft, item) for item in states.values()]
        return draft.is_found and all(stays)

    def _settle_count(self, draft: _Draft, item: Item) -> None:
        """``DDx2``, ``2 DD``: how many there are, which a finding does not hold."""
        if int(item.value) > len(FEET):
            self._leave(item)
            return
        word = f"{draft.word} x{item.value}"
        answer = self._answer(word)
        if answer is not None:
            self._take_number(draft, item, answer)
            return
        level = (f"severity:{item.value}",) if item.value in ("1", "2", "3") else ()
        self.doubts.append(Doubt(word, "number", (*level, "note"), "note"))

    def _only(self, about: str, draft: _Draft, told: list[tuple[str, str]]) -> str:
        """The one value; several, or an open one, are asked about and left open."""
        values = dict.fromkeys(value for value, _ in told)
        if not values:
            return ""
        if len(values) == 1 and "open" not in values:
            if about == "stage" and draft.parent != "DD":
                self.doubts.append(Doubt(f"{draft.word} {told[0][1]}", about, ("note",), "note"))
                return ""
            return told[0][0]
        span = f"{draft.word} " + "/".join(words for _, words in told)
        answer = self._answer(span)
        if answer is not None:
            return answer[1] if answer[0] == about else ""
        most = {"severity": 3, "zone": 12}.get(about, 4)
        levels: dict[str, None] = {}
        for value, words in told:
            some = re.findall(r"[0-9]+", words) if value == "open" else [value.removeprefix("M")]
            levels.update(dict.fromkeys(level for level in some if "." in level or int(level) <= most))
        choices = tuple(f"{about}:{'M' if about == 'stage' else ''}{level}" for level in levels)
        self.doubts.append(Doubt(span, about, (*choices, "note"), "note"))
        return ""

    def _settle_number(self, draft: _Draft, item: Item) -> None:
        code = draft.parent
        zones = LESIONS[code].usual_zones if code in LESIONS else ()
        word = f"{draft.word} {item.value}"
        answer = self._answer(f"{code} {item.value}") or self._answer(word)
        if item.kind == "range":
            self._settle_range(draft, item, zones, word, answer)
            return
        number = int(item.value)
        both = number <= 3 and number in zones
        general = self.taught.get("number")
        if answer is None and both and general in ("zone", "severity", "note") and (number or general == "zone"):
            answer = (general, item.value)
        if answer is not None:
            self._take_number(draft, item, answer)
            return
        key = f"{code} {item.value}" if code != "other" else word
        if number == 0:
            none: tuple[str, ...] = ("nothing", "note")
            self.doubts.append(Doubt(key, "number", ("zone:0", *none) if 0 in zones else none, "nothing", True))
            draft.is_found = False
            self.says_nothing = True
        elif both:
            zone = bool(draft.claws or draft.sides) and not item.tight
            asked = not (draft.claws or draft.sides or item.tight)
            (draft.zones if zone else draft.severities).append((item.value, item.value))
            default = f"{'zone' if zone else 'severity'}:{number}"
            self.doubts.append(Doubt(key, "number", (f"zone:{number}", f"severity:{number}", "note"), default, asked))
        elif number in zones:
            draft.zones.append((item.value, item.value))
        elif number <= 3:
            draft.severities.append((item.value, item.value))
            if code == "DD":
                choices = (f"severity:{number}", f"stage:M{number}", "note")
                self.doubts.append(Doubt(key, "number", choices, choices[0]))
        else:
            stage = ("stage:M4",) if code == "DD" and number == 4 else ()
            self.doubts.append(Doubt(key, "number", (*stage, f"zone:{number}", "note"), "note"))
            self._leave(item)

    def _take_number(self, draft: _Draft, item: Item, answer: tuple[str, str]) -> None:
        """Puts a number where the user said that it belongs."""
        places = {"zone": draft.zones, "severity": draft.severities, "stage": draft.stages}
        if answer[0] in places:
            places[answer[0]].append((answer[1], item.value))
        elif answer[0] == "nothing":
            draft.is_found = False
            self.says_nothing = True
        else:
            self._leave(item)

    def _settle_range(
        self, draft: _Draft, item: Item, zones: tuple[int, ...], word: str, answer: tuple[str, str] | None
    ) -> None:
        """``2-3`` and ``2.5`` leave the severity open; ``2/3`` is 2 of 3, or two zones."""
        if answer is not None:
            self._take_number(draft, item, answer)
            return
        fraction = re.fullmatch(r"([1-3])/3", item.value)
        if fraction is not None:
            level = int(fraction[1])
            draft.severities.append((fraction[1], item.value))
            if level in zones or level == 2:
                self.doubts.append(Doubt(word, "number", (f"severity:{level}", "note"), f"severity:{level}"))
            return
        low = max(1, min(3, int(item.value[0])))
        levels = dict.fromkeys((low, min(3, low + 1)))
        self.doubts.append(Doubt(word, "severity", (*(f"severity:{level}" for level in levels), "note"), "note"))

    def _settle_state(self, draft: _Draft, item: Item) -> bool:
        """Whether a lesion that is uncertain, healed, old or of another time is a finding."""
        about, default, serious = _STATES[item.value if item.kind == "certainty" else item.kind]
        word = f"{draft.word}?" if item.kind == "unsure" else f"{draft.word} {item.text}"
        stays = _lesion_answer(draft)
        answer = self._answer(word)
        if answer is None:
            self.doubts.append(Doubt(word, about, (stays, "nothing", "note"), default or stays, serious))
            chosen = default
        else:
            chosen = None if answer[0] in ("lesion", "other_lesion") else answer[0]
        if chosen == "nothing":
            self.says_nothing = True
        return chosen is None

    def _expand(self, draft: _Draft) -> Iterable[Finding]:
        code = draft.code
        parent = parent_of(code) if code in LESIONS else code
        for foot in draft.feet or (None,):
            claws: list[str | None] = list(dict.fromkeys(draft.claws))
            for side, word in draft.sides:
                if side == "B":
                    claws.extend(self._both_claws(draft, foot, word))
                elif foot is not None:
                    claws.append(_claw_of_side(side, foot))
                else:
                    choices = (*_feet_of_side(side), "note")
                    self.doubts.append(Doubt(word, "foot", choices, "note"))
            for claw in claws or [None]:
                yield Finding(
                    parent,
                    code if code != parent else None,
                    draft.stage or None,
                    foot,
                    claw,
                    int(draft.zone) if draft.zone else None,
                    int(draft.severity) if draft.severity else None,
                    draft.words,
                )

    def _both_claws(self, draft: _Draft, foot: str | None, word: str) -> Iterable[str]:
        """The word both beside a lesion: both claws of a known foot; with two feet it says no more."""
        if len(draft.feet) > 1:
            return ()
        if foot is None:
            self.doubts.append(Doubt(word, "foot", (*_BOTH_FEET, "claw:both", "note"), "note"))
            return ()
        self.doubts.append(Doubt(word, "claw", ("claw:both", "note"), "claw:both"))
        return CLAWS


class _FootWalk:
    """Gives feet to lesions, segment by segment (rule 2)."""

    def __init__(self, cell: _Cell) -> None:
        self.cell = cell
        self.carried: tuple[str, ...] = ()
        self.waiting: list[str] = []
        """Feet of segments that name nothing else, until a lesion follows."""
        self.pending: list[_Draft] = []
        self.behind: list[_Draft] = []
        """Lesions that a foot in the segment before was given to from behind."""

    def take(self, segment: _Segment) -> None:
        if segment.sign == ";":
            self._flush()
            self.behind = []
            if not self.waiting:
                self.carried = ()
        events = self._events(segment)
        kinds = {kind for kind, _, _ in events}
        if kinds == {"foot"}:
            self._take_feet(segment, events)
        elif kinds == {"lesion"}:
            self._take_lesions(segment)
        elif kinds:
            self._take_both(segment, events)
        elif segment.has("action", "unknown", "nothing"):
            self.behind = []

    @staticmethod
    def _events(segment: _Segment) -> list[tuple[str, int, list[str]]]:
        """Feet (neighbours as one) and lesions of a segment, in their order: kind, place, feet."""
        lesions = {draft.at for draft in segment.drafts}
        events: list[tuple[str, int, list[str]]] = []
        is_neighbour = False
        for at, item in segment.items:
            if item.kind == "foot":
                if is_neighbour:
                    events[-1][2].extend(item.value.split())
                else:
                    events.append(("foot", at, item.value.split()))
                is_neighbour = True
                continue
            is_neighbour = False
            if at in lesions:
                events.append(("lesion", at, []))
        return events

    def _take_feet(self, segment: _Segment, events: list[tuple[str, int, list[str]]]) -> None:
        feet = [foot for _, _, some in events for foot in some]
        if segment.has("nothing", "tick"):
            self._flush_waiting()
            self._spare(segment, feet)
            self.carried = ()
            return
        if self.pending:
            for draft in self.pending:
                draft.feet = tuple(dict.fromkeys(feet))
            self.behind, self.pending = self.pending, []
        elif self.behind and not segment.colon and not segment.unknown:
            self._copy(self.behind, segment, events[0][1], feet)
        elif segment.has("action") and self.carried:
            self._spare(segment, feet)
        elif segment.unknown and not segment.has("action"):
            self._flush_waiting()
            self._spare(segment, feet)
            self.carried = tuple(feet)
        else:
            self.waiting.extend(feet)
            self.carried = tuple(dict.fromkeys(self.waiting))

    def _take_lesions(self, segment: _Segment) -> None:
        self.behind = []
        if self.carried:
            for draft in segment.drafts:
                draft.feet = self.carried
            self.waiting = []
        else:
            self.pending.extend(segment.drafts)

    def _take_both(self, segment: _Segment, events: list[tuple[str, int, list[str]]]) -> None:
        drafts = {draft.at: draft for draft in segment.drafts}
        if events[0][0] == "foot":
            self._flush()
            current = [*self.waiting, *events[0][2]]
            self.waiting = []
            used = False
            for number, (kind, at, feet) in enumerate(events):
                if kind == "lesion":
                    drafts[at].feet = tuple(dict.fromkeys(current))
                    used = True
                elif number:
                    if not used:
                        self._spare(segment, current)
                    current, used = feet, False
            if not used:
                self._spare(segment, current)
            self.carried = tuple(dict.fromkeys(current))
            self.behind = []
            return
        self._flush_waiting()
        if self.pending and segment.sign == "," and segment.drafts:
            named = events[next(k for k, event in enumerate(events) if event[0] == "foot")][2]
            for draft in list(self.pending):
                self._ask_behind(draft, named)
        given: list[_Draft] = []
        for kind, at, feet in events:
            if kind == "lesion":
                given = []
                self.pending.append(drafts[at])
            elif self.pending:
                for draft in self.pending:
                    draft.feet = tuple(dict.fromkeys(feet))
                given, self.pending = self.pending, []
            else:
                given = self._copy(given, segment, at, feet)
        self.carried = ()
        self.behind = given

    def _ask_behind(self, draft: _Draft, feet: list[str]) -> None:
        """``SU, WL RH``: the foot of the last lesion is taken for the one before a comma too, and asked about."""
        word = f"{draft.word} {' '.join(feet)}"
        answer = self.cell._answer(word)
        if answer is not None and answer[0] == "note":
            self.pending.remove(draft)
        elif answer is None:
            choices = (f"foot:{' '.join(feet)}", "note")
            self.cell.doubts.append(Doubt(word, "foot", choices, choices[0]))

    def _copy(self, drafts: list[_Draft], segment: _Segment, at: int, feet: list[str]) -> list[_Draft]:
        """The same lesions on more feet, which may have claws and degrees of their own."""
        copies = [
            _Draft(draft.code, at, draft.word, segment.index, draft.words, tuple(dict.fromkeys(feet)),
                   is_found=draft.is_found, copied=draft)
            for draft in drafts
        ]  # fmt: skip
        segment.drafts.extend(copies)
        self.cell.drafts.extend(copies)
        return copies

    def _spare(self, segment: _Segment, feet: list[str]) -> None:
        """Feet that no lesion is told of; one with a question mark stays in the note."""
        if segment.has("unsure") and not segment.drafts:
            for _, item in segment.items:
                if item.kind == "foot":
                    self.cell._leave(item)
            return
        self.cell.spare_feet.extend(feet)

    def _flush(self) -> None:
        """Lesions that no foot follows stay without one; asked about if the cell names feet."""
        named = dict.fromkeys(foot for item in self.cell.items if item.kind == "foot" for foot in item.value.split())
        for draft in self.pending:
            word = f"{draft.word} foot"
            answer = self.cell._answer(word)
            if answer is not None and answer[0] == "foot":
                draft.feet = tuple(answer[1].split())
            elif answer is None and draft.is_found and named and self.cell.foot is None:
                choices = tuple(f"foot:{foot}" for foot in named)
                self.cell.doubts.append(Doubt(word, "foot", (*choices, "note"), "note"))
        self.pending = []

    def _flush_waiting(self) -> None:
        self.cell.spare_feet.extend(self.waiting)
        self.waiting = []

    def finish(self) -> None:
        self._flush()
        self._flush_waiting()


_CLAW_LETTERS = {
    letter: claw
    for letter, claw in phrases("claw_alone").items()
    if claw in CLAWS and len(letter) <= 3 and letter != "l"
}
"""What stands for a claw behind a foot or a lesion; ``l`` is left as often as lateral."""
_BEFORE_CLAW = LESION_KINDS | {"zone", "severity", "stage", "number"}
_OFTEN_ELSE = frozenset({"i", "m", "b"})
"""Letters for a claw that may as well be a degree or both. [common practice, no source]"""
_MARKS = frozenset({"x", "xx", "\u2713", "\u2714", "\u221a", "\u2611", "*", "v", "/", "\\"})
_HYPHENS = re.compile(r"[-\u2013\u2014._]+|0+")
_DEGREES = re.compile(r"[0-3]\s?[-]\s?[0-3]|[0-3]/3|[0-3][.,][05]|[0-3][.,]?5")
_SHORT_ZONE = re.compile(r"z\s?\d{1,2}", re.I)
_BOTH_FEET = ("foot:LH RH", "foot:LF RF")
WORDS_BETWEEN = 3
"""Words within which a block and what became of it stand. [common practice, no source]"""
_OFF = """
removed remove lost entfernt entfernen abgenommen verloren abgefallen verwijderd verwijderen kwijt eraf enlevé
enlevée enlever retiré retirée retirer perdu perdue ôté ôtée tombé tombée retirado retirada quitado quitada quitar
perdido perdida perdió cayó caído caída quitó retiró removido removida tirado tirada perdeu caiu
"""
_TAKEN_OFF = frozenset(map(plain, _OFF.split()))
"""Words beside a block or wrap that was not put on but taken off. [common practice, no source]"""
_FOR = forms_meaning("layout_word", "for")
"""Words in front of what something is done for. [common practice, no source]"""
_LONGEST_NAME = 60
"""Letters above which words are no misspelt name of a lesion. [common practice, no source]"""
_MOST_TRIES = 40
"""Unknown words of a cell for which the nearest lesion is sought; it is slow."""
_STATES: dict[str, tuple[str, str | None, bool]] = {
    "unsure": ("uncertain", None, False),
    "healed": ("healed", "nothing", True),
    "healing": ("healing", None, False),
    "absent": ("negated", "nothing", True),
    "elsewhen": ("another time", "note", True),
    "nothing": ("negated", "nothing", True),
}
"""State of a lesion -> what the doubt is about, its default (``None``: the lesion stays), whether it is serious."""


@lru_cache(maxsize=1024)
def _lesion_in(phrase: str) -> str | None:
    """Code of the lesion whose word is a part of a phrase of several words.

    Example
    -------
    >>> _lesion_in("abaxial white line"), _lesion_in("bulb of the heel"), _lesion_in("white line")
    ('WL', None, None)
    """
    parts = phrase.split()
    for size in range(len(parts) - 1, 1, -1):
        for start in range(len(parts) - size + 1):
            code = phrases("lesion").get(" ".join(parts[start : start + size]))
            if code is not None:
                return code
    return None


def _other_side(before: Sequence[Item], item: Item) -> str | None:
    """The foot that a side behind a foot and "and" names: "post. G et D", "left and right" of one end."""
    if len(before) < 2 or item.kind == "foot":
        return None
    foot, join = before[-2:]
    joins = (join.kind == "joiner" and join.value == "and") or (join.kind == "separator" and join.value in "&+")
    side = phrases("side").get(plain(item.text))
    if not joins or foot.kind != "foot" or foot.value not in FEET or side in (None, foot.value[0]):
        return None
    return f"{side}{foot.value[1]}"


def _same_foot(before: Sequence[Item], item: Item) -> str | None:
    """The foot named last, where a cell says "same foot"."""
    if plain(item.text) not in _SAME_FOOT:
        return None
    return next((one.value for one in reversed(before) if one.kind == "foot"), None)


_SAME_FOOT = forms_meaning("layout_word", "same foot")


def _is_with(item: Item, text: str) -> bool:
    """Whether an item is short for with: "w." and "w/"."""
    is_short = item.kind == "unknown" and text[item.end : item.end + 1] in (".", "/")
    return is_short and plain(item.text) in forms_meaning("layout_word", "with")


def _is_code(item: Item) -> bool:
    """Whether an unknown word looks like the code of a lesion."""
    return item.kind == "unknown" and len(item.text) <= 3 and item.text.isupper()


def _is_token(item: Item) -> bool:
    """Whether an unknown word is short enough for the code of a lesion: three letters, or a few with digits in them."""
    return (len(item.value) <= 3 and item.text.isalpha()) or _CODED.fullmatch(item.value) is not None


def _meaning_of_lesion(word: str) -> tuple[str, str] | None:
    code = phrases("lesion").get(word)
    return None if code is None else ("lesion", code)


_CODED = re.compile(r"([^\W\d_]{1,3})\d{1,2}[^\W\d_]{0,2}")
"""A few letters with digits behind them, such as a lesion, its zone and its claw."""


def _is_cue(item: Item) -> bool:
    """Whether an item says what the number behind it is; ``sev`` alone is the word severe."""
    return item.kind == "cue" or (item.kind == "severity" and plain(item.text) in phrases("cue"))


def _lesion_answer(draft: _Draft) -> str:
    return f"lesion:{draft.code}" if draft.code in LESIONS else "other"


def _claw_of_side(side: str, foot: str) -> str:
    """The right claw of a right foot is the outer one, and so the left of a left foot.

    Example
    -------
    >>> _claw_of_side("R", "RH"), _claw_of_side("R", "LH")
    ('lateral', 'medial')
    """
    return "lateral" if side == foot[0] else "medial"


def _feet_of_side(side: str) -> tuple[str, ...]:
    return tuple(f"foot:{foot}" for foot in FEET if foot[0] == side)


def _has_foot(segment: _Segment, first: int, last: int) -> bool:
    """Whether a foot stands between two places of a segment."""
    low, high = sorted((first, last))
    return any(item.kind == "foot" for place, item in segment.items if low < place < high)


def _nearest(drafts: Sequence[_Draft], at: int, ahead: bool) -> _Draft:
    """The lesion before a place, or behind it; at the end of the row the last there is."""
    if ahead:
        return next((draft for draft in drafts if draft.at >= at), drafts[-1])
    return next((draft for draft in reversed(drafts) if draft.at <= at), drafts[0])


def _spans(start: int, end: int) -> Iterable[tuple[int, int]]:
    """All runs within a run of at most three, the longest first."""
    for size in range(end - start, 0, -1):
        for first in range(start, end - size + 1):
            yield first, first + size


_PLAIN_WORD = re.compile(r"(?![LRlr][FHfh])([A-Za-z]{4,})[0-9]*")
"""Words that are of one piece whatever is known: others may begin with the letters of a foot, or be codes."""
_WHOLE_CELLS = ("yes", "no", "nothing", "negation", "action")


def _is_unknown_word(word: str) -> bool:
    """Whether a cell is one plain word that means nothing known and is near to no lesion.

    A sheet may have a hundred thousand of them; they are read at a third of the cost.
    """
    found = _PLAIN_WORD.fullmatch(word)
    if found is None:
        return False
    phrase, letters = word.casefold(), found[1].casefold()
    # A sign for a stage or a number of times may stand between a lesion and its digits.
    if any(is_known(part) for part in (phrase, letters, letters[:-1])):
        return False
    if any(phrase in phrases(kind) for kind in _WHOLE_CELLS):
        return False
    return nearest_lesion(phrase) is None and not _is_near_nothing(word)


def _is_near_nothing(words: str) -> bool:
    """Whether words are probably a misspelt "no lesion"."""
    return len(words) >= _SHORTEST_NOTHING and suggest(("nothing",), words) is not None


def _doubt_of_word(word: str) -> Doubt:
    return Doubt(word, "lesion", ("other", "nothing", "note"), None, True)


def nearest_lesion(words: str) -> str | None:
    """Code of the lesion that a misspelt word was probably meant to be, or ``None``.

    A length of five or more is asked of it, so that few words of prose are near a lesion.

    Example
    -------
    >>> nearest_lesion("ulser"), nearest_lesion("digital dermatitus"), nearest_lesion("weeks")
    ('SU', 'DD', None)
    """
    near = suggest(("lesion",), words) if 5 <= len(words) <= _LONGEST_NAME else None
    return None if near is None else phrases("lesion")[plain(near)]
