"""What a column is for, as its heading says it: a field, a foot, a claw, a lesion, a day."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache

from evenfoot.analytics.domain.feet import CLAWS, FEET
from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.domain.lexicon import (
    forms,
    forms_meaning,
    heading_fields,
    meaning,
    phrases,
    plain,
    squeezed_heading,
)
from evenfoot.analytics.domain.locomotion import understand_scale
from evenfoot.analytics.intake.fields import KINDS, VOID_FINDING
from evenfoot.analytics.intake.headings import LONGEST_HEADING, match_heading


@dataclass(frozen=True)
class Role:
    """What the cells of one column hold.

    Attributes
    ----------
    kind : str
        ``field`` (of a trim sheet), ``foot`` or ``claw`` (findings there), ``pair`` (findings on
        the front or hind feet), ``lesion`` (ticks, feet, severities or
        counts of it), ``part`` (lesions of the toe, sole or heel), ``zone`` (findings there), ``which`` (ticks of a
        foot), ``measure`` (a length of one foot), ``day`` (scores of that day), ``side``, ``end``, ``lame``,
        ``action`` (ticks), ``event``, ``seen`` (whether the cow was looked at), ``void`` (whether the entry does not
        count; with the field ``lesion`` its finding alone), ``note``, ``skip`` (known, but no part of a trim record).
    field : str
        Of a field or a measure.
    foot, claw, lesion, action : str
        A field with a foot says something of the finding there; a lesion with a foot is marked for that foot.
    day : str
        The heading that names the day, as written.
    number : int
        1 for "Lesion 1", 2 for "Lesion 2"; 0 without a number.
    unit, scale : str or None
        Named by the heading.
    certain : bool
        Whether the heading alone tells it.
    """

    kind: str
    field: str = ""
    foot: str = ""
    claw: str = ""
    lesion: str = ""
    action: str = ""
    day: str = ""
    number: int = 0
    unit: str | None = None
    scale: str | None = None
    certain: bool = True

    @property
    def code(self) -> str:
        """The role as an answer to a question: "severity", "foot LH", "lesion DD"."""
        parts = {
            "field": [self.field, str(self.number or ""), self.foot, self.claw],
            "foot": ["foot", self.foot],
            "claw": ["claw", self.foot, self.claw] if self.foot else ["findings", "on", self.claw],
            "lesion": ["lesion", self.lesion, self.foot],
            "measure": [self.field, self.foot, self.claw],
            "action": ["action", self.action],
            "part": ["part", self.field],
            "zone": ["zone", self.field],
            "pair": ["feet", {"F": "front", "H": "hind"}.get(self.field, "")],
            "day": ["scores of", self.day],
            "void": ["void", "finding" if self.field else ""],
        }.get(self.kind, [self.kind])
        return " ".join(part for part in parts if part)


def is_code(code: str) -> bool:
    """Whether an answer names something that a column can be.

    Examples
    --------
    >>> [is_code(each) for each in ("group", "lesion DD", "foot LH", "note", "barn")]
    [True, True, True, True, False]
    """
    try:
        role = role_of_code(code, Role("note"))
    except (KeyError, ValueError):
        return False
    return role.kind != "field" or role.field in _FIELDS


_FIELDS = frozenset(field.name for fields in KINDS.values() for field in fields) | {"toe_length_mm/toe_length_after_mm"}


def role_of_code(code: str, role: Role) -> Role:
    """The role that an answer names, with unit and scale of the heading's own role."""
    words = code.split()
    if code in ("side", "end", "lame", "event", "seen", "void", "note", "skip"):
        return Role(code)
    if code == VOID_FINDING:
        return Role("void", field="lesion")
    if words[0] == "foot" and len(words) == 2:
        return Role("foot", foot=words[1])
    if words[:2] == ["findings", "on"] and len(words) == 3:
        return Role("claw", claw=words[2])
    if words[0] == "claw" and len(words) == 3:
        return Role("claw", foot=words[1], claw=words[2])
    if words[0] == "lesion" and len(words) in (2, 3) and words[1] in LESIONS:
        return Role("lesion", lesion=words[1], foot=words[2] if len(words) == 3 else "")
    if words[0] == "feet" and len(words) == 2:
        return Role("pair", field={"front": "F", "hind": "H"}[words[1]])
    if words[0] == "zone" and len(words) == 2 and role.kind == "zone":
        return Role("zone", field=words[1])
    if words[0] == "action" and len(words) == 2:
        return Role("action", action=words[1])
    if words[:2] == ["scores", "of"]:
        return Role("day", day=" ".join(words[2:]))
    if words[0] == "part":
        return Role("part", field=words[1])
    if len(words) in (2, 3) and words[1] in FEET:
        return Role("measure", field=words[0], foot=words[1], claw=words[2] if len(words) == 3 else "", unit=role.unit)
    number = int(words[1]) if len(words) >= 2 and words[1].isdecimal() else 0
    foot, claw = (*words[2:], "", "")[:2]
    return Role("field", field=words[0], foot=foot, claw=claw, number=number, unit=role.unit, scale=role.scale)


_NUMBERED = re.compile(r"^\s*(?:(\d{1,2})(?:st|nd|rd|th|\.|º|ª|e)?[\s._-]+)?(.*?\D)[\s._#-]*(\d{1,2})?\s*$", re.DOTALL)
OF_FOOT = 11
"""Numbers from here on stand for one foot or claw, as in "LF severity"."""
NUMBERED_FIELDS = ("lesion", "foot", "claw", "zone", "severity", "action", "lesion_detail", "dd_stage")
MEASURES = ("toe_length_mm", "toe_length_after_mm", "toe_angle_deg", "heel_depth_mm", "sole_thickness_mm")
_IN_BRACKETS = re.compile(r"[(\[][^)\]]*[)\]]")
_TIMES = re.compile(
    r"\b(before|after|vor|vorher|nach|nachher|danach|voor|vooraf|na|nadien|avant|apres|antes|despues|depois|pre|post|trim|"
    r"trimming|cm|mm)\b"
)
_AFTER = re.compile(r"\b(after|nach|nachher|danach|na|nadien|apres|despues|depois|post)\b")


@lru_cache(maxsize=1024)
def read_heading(text: str) -> Role | None:
    """What a heading says its column is for, or ``None``.

    Kept: every row near the top of a sheet is tried as its headings, alone and under the row above. A small sheet takes
    60 ms of processor with it, 74 without.

    Example
    -------
    >>> [read_heading(one).code for one in ("Cow No.", "Left hind", "RH outer", "Lesion 2", "DD", "Toe length LH")]
    ['cow', 'foot LH', 'claw RH lateral', 'lesion 2', 'lesion DD', 'toe_length_mm LH']
    """
    text = " ".join(text.split())
    bare = plain(text)
    if not bare or len(bare) > 80 or len(text) > LONGEST_HEADING:
        return None
    if (found := _toe_with_unit(bare)) is not None:
        return found
    if (found := _field(text)) is not None:
        return found
    measure = _measure(bare)
    if measure is not None:
        return measure
    # Before the feet: "LA" is a foot in Dutch, and "ulcère de la sole" is none.
    lesion = meaning("lesion", _bare_of_counts(bare)) or meaning("lesion", plain(_IN_BRACKETS.sub(" ", text)))
    if lesion is not None:
        return Role("lesion", lesion=lesion)
    place = _foot_and_claw(bare)
    if place is not None:
        return place
    if phrases("claw").get(bare) in CLAWS:
        return Role("claw", claw=phrases("claw")[bare])
    length = _length_at_time(text) or _length_of_claw(text)
    if length is not None:
        return length
    numbered = _NUMBERED.match(text.strip())
    if numbered and (numbered[1] or numbered[3]):
        found = _field(numbered[2])
        if found is not None and found.field in NUMBERED_FIELDS:
            return replace(found, number=int(numbered[1] or numbered[3]))
    lesion = _abbreviated(_bare_of_counts(bare))
    if lesion is not None:
        return Role("lesion", lesion=lesion)
    action = meaning("action", bare) or _done_to_place(text)
    if action is not None:
        return Role("action", action=action)
    return _in_two_languages(text)


_UNITS = {"mm": "mm", "cm": "cm", "in": "in", "inch": "in", "inches": "in"}
_BEFORE_OR_AFTER = re.compile(
    r"before|after|vor|vorher|nach|nachher|voor|na|avant|apres|antes|despues|depois|trimmed|untrimmed"
)


def _toe_with_unit(bare: str) -> Role | None:
    """A length of the toe by its unit, where the words alone may say something else: "toe mm", "after_in".

    "In" may be the inner claw, so it is asked about.
    """
    rest, _, last = bare.rpartition(" ")
    unit = _UNITS.get(last)
    if unit is None or heading_fields().get(squeezed_heading(bare)):
        return None
    certain = last != "in"
    if "toe_length_mm" in (meaning("ambiguous", rest) or "").split():
        return Role("field", field="toe_length_mm", unit=unit, certain=certain)
    if _BEFORE_OR_AFTER.fullmatch(rest):
        field = MEASURES[bool(_AFTER.search(rest) or rest == "trimmed")]
        return Role("field", field=field, unit=unit, certain=certain)
    return None


def _done_to_place(text: str) -> str | None:
    """The block or wrap of a heading that names a foot or claw beside it: "blockedClaw", "wrapped foot"."""
    words = [word for word in plain(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)).split() if word not in phrases("filler")]
    action = meaning("action", " ".join(words))
    return action if action in ("block", "wrap") else None


_BETWEEN_LANGUAGES = re.compile(r"\s*/\s*|\s+[|-]\s+")


def _in_two_languages(text: str) -> Role | None:
    """A heading that says one thing twice, or once in words that are known: "Kuh/Cow"."""
    parts = [part for part in _BETWEEN_LANGUAGES.split(text) if part.strip()]
    if len(parts) != 2:
        return None
    said = [role for part in parts if (role := read_heading(part)) is not None]
    return said[0] if len({role.code for role in said}) == 1 else None


def headings_of(text: str) -> tuple[str, ...]:
    """The fields that a heading may name, as the lexicon has them."""
    named = ("trims.foot",) if plain(text) == "foot" else ("trims.claw",) if plain(text) == "claw" else ()
    return (*named, *heading_fields().get(squeezed_heading(plain(text)), ()))


_SCORES = {"score": "locomotion_score", "scale": "locomotion_scale", "scorer": "trimmer", "date": "visit_date"}
"""Fields of a locomotion sheet as the fields of a trim sheet that say the same."""


def _field(text: str) -> Role | None:
    found = match_heading(text, "trims")
    if found is not None:
        return Role("field", field=found[0].name, unit=found[1], scale=found[2])
    found = match_heading(text, "locomotion")
    if found is not None and found[0].name in _SCORES:
        return Role("field", field=_SCORES[found[0].name], unit=found[1], scale=found[2])
    return _worded(text)


def _worded(text: str) -> Role | None:
    """A heading by the words of six languages; "foot/claw" is the foot, whose cells may name the claw as well."""
    parts = [part for part in re.split(r"[/&+]", text) if part.strip()]
    if len(parts) == 2:
        both = [headings_of(part) for part in parts]
        if {"trims.foot", "trims.claw"} <= {name for names in both for name in names} and all(both):
            return Role("field", field="foot")
    aside = " ".join(re.findall(r"[(\[]([^)\]]*)[)\]]", text))
    bare = plain(re.sub(r"[(\[][^)\]]*[)\]]", " ", text))
    unit = next((word for word in plain(aside).split() if word in ("mm", "cm", "in")), None)
    names = heading_fields().get(squeezed_heading(bare)) or heading_fields().get(squeezed_heading(plain(text))) or ()
    span = _SCALE_BEHIND.search(text)
    if not names and span is not None and understand_scale(f"{span[1]}-{span[2]}") is not None:
        # "Lameness 1-5" is a score, "lame" alone may be yes or no.
        of_scale = _worded(f"{text[: span.start()]} ({span[1]}-{span[2]})")
        gait = of_scale is not None and (of_scale.kind == "lame" or of_scale.field == "locomotion_score")
        return replace(of_scale, kind="field", field="locomotion_score") if of_scale is not None and gait else of_scale
    if not names and unit is None and bare.split()[-1:] in (["mm"], ["cm"]):
        unit = bare.split()[-1]
        names = heading_fields().get(squeezed_heading(" ".join(bare.split()[:-1]))) or ()
    for wanted in ("trims.", "*.", "layout.", "locomotion.", "own:"):
        for name in names:
            if not name.startswith(wanted):
                continue
            field = name.partition(".")[2]
            if wanted == "own:":
                return Role("skip")
            if wanted == "layout.":
                scale = understand_scale(aside) if field == "lame" and re.search(r"\d", aside) else None
                if scale is not None:
                    return Role("field", field="locomotion_score", scale=scale)
                return Role({"event_remark": "note", "treated": "note"}.get(field, field), scale=scale)
            if wanted == "locomotion.":
                field = _SCORES.get(field, field)
            scale = understand_scale(aside) if re.search(r"\d", aside) else None
            return Role("field", field=field, unit=unit, scale=scale)
    return None


_SCALE_BEHIND = re.compile(r"[\s,:]+([01])\s*(?:-|\N{EN DASH}|to|a|à|bis|tot|t/m|até)\s*([35])\s*$")
"""The ends of a scale behind the words of a heading. [common practice, no source]"""


def _bare_of_counts(bare: str) -> str:
    return re.sub(
        r"^(no of|number of|n|cows with|feet with)\s+|\s+(y n|yes no|x|count|no of feet|feet|cows|tick)$", "", bare
    )


SHORTEST_ABBREVIATION = 4
"""Letters of the words of a shortened lesion. [common practice, no source]"""


@cache
def _lesions_by_beginning() -> Mapping[tuple[str, ...], list[tuple[list[str], str]]]:
    """The first letters of each word of a lesion -> its words and its code."""
    found: dict[tuple[str, ...], list[tuple[list[str], str]]] = {}
    for phrase, code in phrases("lesion").items():
        words = phrase.split()
        found.setdefault(tuple(word[:SHORTEST_ABBREVIATION] for word in words), []).append((words, code))
    return found


def _abbreviated(bare: str) -> str | None:
    """The lesion whose words begin with the words of a heading: "interdig growth"."""
    words = bare.split()
    if any(len(word) < SHORTEST_ABBREVIATION for word in words) or len(bare) < SHORTEST_ALONE:
        return None
    near = _lesions_by_beginning().get(tuple(word[:SHORTEST_ABBREVIATION] for word in words), ())
    found = {
        code for parts, code in near
        if all(part.startswith(word) for part, word in zip(parts, words, strict=True))
    }  # fmt: skip
    return found.pop() if len(found) == 1 else None


SHORTEST_ALONE = 9
"""Letters of a shortened lesion, spaces included. [common practice, no source]"""


def _foot_and_claw(bare: str) -> Role | None:
    """ "left hind outer", "rh lateral", "outer claw left front": a foot, with a claw or without one."""
    feet, claws, fillers = phrases("foot"), phrases("claw"), phrases("filler")
    words = bare.split()
    if len(words) > 8:
        return None
    if len(words) <= 3 and all(len(word) == 1 for word in words):
        words = ["".join(words)]
    if len(words) == 1 and words[0] in glued_claws():
        of_foot, of_claw = glued_claws()[words[0]]
        return Role("claw", foot=of_foot, claw=of_claw)
    for size in range(len(words), 0, -1):
        for start in range(len(words) - size + 1):
            foot = feet.get(" ".join(words[start : start + size])) or feet.get("".join(words[start : start + size]))
            if foot not in FEET:
                continue
            rest = [word for word in words[:start] + words[start + size :] if word not in fillers]
            if not rest or " ".join(rest) in SKIN:
                return Role("foot", foot=foot)
            lesion = meaning("lesion", " ".join(rest))
            if lesion is not None:
                return Role("lesion", lesion=lesion, foot=foot)
            claw = claws.get(" ".join(rest))
            if claw in ("left", "right"):
                claw = "lateral" if (claw == "left") == foot.startswith("L") else "medial"
            if claw in CLAWS:
                return Role("claw", foot=foot, claw=claw)
            told = _of_foot(" ".join(words[:start] + words[start + size :]), foot)
            if told is not None:
                return told
    # "der" is an article in German and the right in Spanish.
    return _of_end_and_side([word for word in words if word not in fillers or word in phrases("side")])


def _of_end_and_side(words: list[str]) -> Role | None:
    """A foot by a word for the end and one for the side, with a claw or without: "anteriores izq", "hind left in".

    Letters alone are no such words: "d" may be many things.
    """
    if not 2 <= len(words) <= 4 or any(len(word) < 2 for word in words):
        return None
    ends, sides = phrases("end"), phrases("side")
    end = [word for word in words if word in ends]
    side = [word for word in words if word in sides and word not in end]
    if len(end) != 1 or not side:
        return None
    foot = f"{sides[side[0]]}{ends[end[0]]}"
    rest = [word for word in words if word not in (end[0], side[0])]
    if not rest:
        return Role("foot", foot=foot)
    claw = phrases("claw").get(" ".join(rest))
    return Role("claw", foot=foot, claw=claw) if claw in CLAWS else None


@cache
def glued_claws() -> Mapping[str, tuple[str, str]]:
    """Two letters of a foot and those of a claw in one word, both of one language: "lho", "hla".

    Example
    -------
    >>> [read_heading(one).code for one in ("LHo", "RFi", "HRA")]
    ['claw LH lateral', 'claw RF medial', 'claw RH lateral']
    """
    feet = [(form, word) for form, word in forms("foot") if len(form) == 2 and form.isalpha() and word.means in FEET]
    claws = [(form, word) for form, word in forms("claw_alone") if form.isalpha() and word.means in CLAWS]
    return {
        foot + claw: (of_foot.means, of_claw.means)
        for foot, of_foot in feet
        for claw, of_claw in claws
        if of_foot.language == of_claw.language
    }


SKIN = forms_meaning("layout_word", "skin")
"""What is beside the claws of a foot. [common practice, no source]"""


def told_of_foot(text: str) -> Role | None:
    """What a heading tells of one foot, where it may as well be the foot alone: "LF claw" beside "LF lesion".

    Example
    -------
    >>> read_heading("LF claw").code, told_of_foot("LF claw").field
    ('foot LF', 'claw')
    """
    words = plain(text).split()
    for size in range(len(words) - 1, 0, -1):
        for start in range(len(words) - size + 1):
            foot = phrases("foot").get(" ".join(words[start : start + size]))
            told = _of_foot(" ".join(words[:start] + words[start + size :]), foot) if foot in FEET else None
            if told is not None:
                return told
    return None


def _of_foot(rest: str, foot: str) -> Role | None:
    """What is told of one foot or claw: "severity", "outer lesion", or a lesion to be marked."""
    lesion = meaning("lesion", rest)
    if lesion is not None:
        return Role("lesion", lesion=lesion, foot=foot)
    words = rest.split()
    for size in range(len(words)):
        claw = phrases("claw").get(" ".join(words[:size])) or "" if size else ""
        found = _field(" ".join(words[size:])) if claw in ("", *CLAWS) and (claw or not size) else None
        if found is not None and found.field in NUMBERED_FIELDS and found.field != "foot":
            number = OF_FOOT + 3 * FEET.index(foot) + ("", *CLAWS).index(claw)
            return replace(found, foot=foot, claw=claw, number=number)
    return None


def _measure(bare: str) -> Role | None:
    """ "toe length LH", "LH before", "toe RF after trim (cm)"."""
    feet = phrases("foot")
    words = bare.split()
    for place, word in enumerate(words):
        if feet.get(word) not in FEET:
            continue
        rest = " ".join(words[:place] + words[place + 1 :])
        found = _field(rest) or _field(_TIMES.sub(" ", rest).strip())
        name, unit = "", None
        if found is not None and found.field in MEASURES:
            name, unit = found.field, found.unit
        elif re.fullmatch(
            r"(before|after|vor|vorher|nach|nachher|voor|na|avant|apres|antes|despues|depois)( (mm|cm))?", rest
        ):
            name, unit = "toe_length_mm", rest.split()[-1] if rest.split()[-1] in ("mm", "cm") else None
        if not name:
            continue
        if name == "toe_length_mm" and _AFTER.search(rest):
            name = "toe_length_after_mm"
        return Role("measure", field=name, foot=feet[word], unit=unit)
    return None


def _length_at_time(text: str) -> Role | None:
    """A length of the toe before or after trimming: of a claw ("LH outer before"), or of the one that the row names.

    Example
    -------
    >>> [read_heading(one).code for one in ("LH outer before", "Dorsalwandl\u00e4nge nachher (mm)", "wall trimmed cm")]
    ['toe_length_mm LH lateral', 'toe_length_after_mm', 'toe_length_after_mm']
    """
    words = plain(text).split()
    times = [word for word in words if _BEFORE_OR_AFTER.fullmatch(word)]
    rest = " ".join(word for word in words if word not in times and word not in _UNITS)
    if len(times) != 1 or not rest:
        return None
    name = MEASURES[bool(_AFTER.search(times[0]) or times[0] == "trimmed")]
    unit = next((_UNITS[word] for word in words if word in _UNITS), None)
    place = _foot_and_claw(rest)
    if place is not None and place.kind in ("foot", "claw") and place.foot:
        return Role("measure", field=name, foot=place.foot, claw=place.claw, unit=unit)
    found = _worded(rest)
    is_length = found is not None and found.field in MEASURES[:2]
    return Role("field", field=name, unit=unit) if is_length else None


def _length_of_claw(text: str) -> Role | None:
    """A length of the toe of one claw of the foot that the row names: "Toe outer (mm)", "inner claw toe length".

    Example
    -------
    >>> [(role.code, role.unit) for role in map(read_heading, ("Toe outer (mm)", "toe length inner cm"))]
    [('toe_length_mm lateral', 'mm'), ('toe_length_mm medial', 'cm')]
    """
    words = plain(text).split()
    claws = [word for word in words if phrases("claw").get(word) in CLAWS]
    units = [_UNITS[word] for word in words if word in _UNITS]
    rest = " ".join(
        word for word in words if word not in claws and word not in _UNITS and word not in phrases("filler")
    )
    if len(claws) != 1 or not rest:
        return None
    found = _worded(rest)
    is_length = (found is not None and found.field == "toe_length_mm") or (
        bool(units) and "toe_length_mm" in (meaning("ambiguous", rest) or "").split()
    )
    unit = units[0] if units else None
    return Role("measure", field="toe_length_mm", claw=phrases("claw")[claws[0]], unit=unit) if is_length else None


def joined_headings(upper: Iterable[str], lower: Iterable[str]) -> list[str]:
    """Headings of two rows as one: what stands above, also for the blank cells to its right, and what stands below.

    Example
    -------
    >>> joined_headings(["", "Left hind", "", "Note"], ["Cow", "outer", "inner", ""])
    ['Cow', 'Left hind outer', 'Left hind inner', 'Note']
    """
    out, above = [], ""
    for top, low in zip(upper, lower, strict=True):
        if top.strip():
            above = top
        carried = top if top.strip() or not low.strip() else above
        out.append(" ".join(part for part in (carried.strip(), low.strip()) if part))
    return out
