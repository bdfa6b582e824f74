"""What is said once for many rows: in lines above a table, in the name of a tab or of a file."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from evenfoot.analytics.domain.lesions import understand_lesion
from evenfoot.analytics.domain.lexicon import forms, forms_meaning, meaning, phrases, plain
from evenfoot.analytics.intake.layouts.days import Day, days_within, numbered_day, read_day_text
from evenfoot.analytics.intake.layouts.roles import read_heading
from evenfoot.analytics.intake.parsing.cell_error import Unreadable
from evenfoot.analytics.intake.parsing.dates import DateOrder

SAID_ONCE = ("visit_date", "farm", "trimmer", "herd_size", "visit_kind", "group", "housing", "locomotion_scale")
"""Fields that a line above a table may say for all of its rows."""

_LABELLED = re.compile(r"^\s*([^:=\d]{2,40}?)\s*[:=]\s*(\S(?:.*\S)?)\s*$", re.DOTALL)
_LABEL = re.compile(r"^\s*([^:=]{2,40}?)\s*(?:[:=]\s*)?$")
_KEY = re.compile(r"^\s*([^\s=:]{1,12})\s*[=:\N{EN DASH}]\s*(\S.{1,60}?)\s*$")
_CODE_AND_WORDS = re.compile(r"^\s*([A-Z\u00c0-\u00dd]{1,4}\d?|[a-z]{1,3})\s+(\S.{2,60}?)\s*$")
_NUMBERED_PLACE = re.compile(r"^\s*(\d{1,2})[.)]?\s+([^\W\d_].{1,40}?)\s*$")
_NAME_AND_NUMBER = re.compile(r"([^\W\d_]{3,12})\s+(\d{1,3})")
_NAME_OF_PERSON = re.compile(r"^(?:[A-Z]\.\s?){1,3}[A-Z][\w'-]+$")
_HERD_OF = re.compile(r"\bherd (?:of|size)?\s*(\d{1,5})\b")
_NUMBER_THEN_WORDS = re.compile(r"(?<!\w)(\d{1,5})\s+(?=[^\W\d])")
_SEPARATORS = re.compile(r"\s+[-\N{EN DASH}\N{EM DASH}|/]\s+|[,;|()\[\]]|\s{3,}|(?<=[a-z]{4})\.\s+(?=[A-Z])")


@dataclass(frozen=True)
class Context:
    """What is known of every row of a table beside its cells.

    Attributes
    ----------
    values : dict of str to str
        Field -> text, where it is said with a label or in no other way to be read.
    guesses : dict of str to str
        Field -> text, where words stand that are likely to be it.
    years : tuple of int
        Years named without a day.
    day : Day or None
        A day that the lines name.
    key : dict of str to str
        Words that the sheet explains: plain form -> what it says of them.
    others : tuple of str
        Lines from which nothing was taken.
    farms : tuple of (int, str)
        Words that may be the farm, the likeliest first, each with :func:`farm_weight`.
    """

    values: dict[str, str] = field(default_factory=dict)
    guesses: dict[str, str] = field(default_factory=dict)
    years: tuple[int, ...] = ()
    day: Day | None = None
    key: dict[str, str] = field(default_factory=dict)
    others: tuple[str, ...] = ()
    farms: tuple[tuple[int, str], ...] = ()

    def then(self, other: Context) -> Context:
        """This context, with what a later line says in the place of what was said before."""
        if other.farms and not other.farms[0][0] and ("farm" in self.guesses or "farm" in self.values):
            # Words in small letters name no other farm.
            other = replace(other, guesses={name: text for name, text in other.guesses.items() if name != "farm"},
                            farms=())  # fmt: skip
        values = {**self.values, **other.values}
        guesses = {**self.guesses, **other.guesses}
        if "farm" in other.guesses and "farm" not in other.values:
            values.pop("farm", None)
        return Context(
            values,
            guesses,
            other.years or self.years,
            other.day or self.day,
            {**self.key, **other.key},
            (*self.others, *other.others),
            other.farms or self.farms,
        )

    def beside(self, other: Context) -> Context:
        """This context and what a line next to it says; of two guesses the likelier counts, else the first."""
        farms = tuple(sorted((*self.farms, *other.farms), key=lambda farm: -farm[0]))
        likeliest = {"farm": farms[0][1]} if farms else {}
        return Context(
            {**self.values, **other.values},
            {**other.guesses, **self.guesses, **likeliest},
            self.years or other.years,
            self.day or other.day,
            {**self.key, **other.key},
            (*self.others, *other.others),
            farms,
        )


LONGEST_LINE = 2000
"""Letters of a cell that are looked at: more is prose. [common practice, no source]"""


def read_lines(lines: Iterable[Sequence[str]], order: DateOrder, today: dt.date, farms: Iterable[str] = ()) -> Context:
    """What lines of cells outside a table say of its rows.

    Parameters
    ----------
    lines : iterable of sequence of str
        The cells of each line.
    order : DateOrder
    today : datetime.date
    farms : iterable of str
        Farms already known.
    """
    known = {plain(farm): farm for farm in farms}
    context = Context()
    for cells in lines:
        parts = [part for cell in cells for part in re.split(r"\s{2,}", cell.strip()[:LONGEST_LINE]) if part.strip()]
        found = _read_cells(parts, order, today, known)
        likely = any(weight for weight, _ in found.farms)
        taken = found.values or found.years or found.day or found.key or likely or found.guesses.keys() - {"farm"}
        if not taken and (found.others or found.farms):
            # A line of which nothing was taken is told as it stands, but for a day of the week.
            found = replace(found, others=() if all(map(_is_weekday, parts)) else (", ".join(parts),))
        context = context.beside(found)
    return context


def read_name(name: str, order: DateOrder, today: dt.date, farms: Iterable[str] = ()) -> Context:
    """What the name of a file or of a tab says."""
    stem = re.sub(r"\.[A-Za-z]{2,5}$", "", name)
    spaced = re.sub(r"(?<=\D)_|_(?=\D)", " ", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", stem))
    known = {plain(farm): farm for farm in farms}
    return _read_free(spaced.strip(), order, today, known)


def _read_cells(cells: list[str], order: DateOrder, today: dt.date, known: dict[str, str]) -> Context:
    values: dict[str, str] = {}
    keys: dict[str, str] = {}
    free: list[str] = []
    others: list[str] = []
    place = 0
    while place < len(cells):
        cell = cells[place]
        label = _LABELLED.match(cell)
        field_name = _field_of(label[1]) if label else None
        if label and field_name:
            first, *more = _SEPARATORS.split(label[2])
            if (
                field_name == "farm"
                and more
                and not days_within(first, order, today)[0]
                and days_within(label[2], order, today)[0]
            ):
                # "Farm: Elm End, 19 May 2026"
                values = {**_values_told(field_name, first.strip()), **values}
                free.append(", ".join(piece.strip() for piece in more))
            else:
                values = {**_values_told(field_name, label[2]), **values}
            place += 1
            continue
        if label and ":" in cell and "=" not in cell and not words_explained(cell) and len(label[1].split()) <= 3:
            others.append(cell)
            place += 1
            continue
        alone = _LABEL.match(cell)
        field_name = _field_of(alone[1]) if alone else None
        if field_name and place + 1 < len(cells) and _field_of(cells[place + 1]) is None:
            values = {**_values_told(field_name, cells[place + 1]), **values}
            place += 2
            continue
        if cell.endswith(":") and place + 1 < len(cells) and len(cells) <= 4:
            others.append(f"{cell} {cells[place + 1]}")
            place += 2
            continue
        entries = words_explained(cell)
        if entries:
            keys |= entries
            rest = [piece for piece in re.split(r"[,;\n|]|\s{2,}", cell) if piece.strip() and "=" not in piece]
            if rest and "=" in cell:
                # Beside a key a title may stand.
                free.append(", ".join(piece.strip() for piece in rest))
        elif len(cells) == 2 and place == 0 and (pair := _pair_explained(*cells)):
            keys |= pair
            place += 1
        elif len(cells) == 3 and place == 0 and (pair := _pair_of_column(*cells)):
            keys |= pair
            place += 2
        else:
            free.append(cell)
        place += 1
    context = Context(key=keys, others=tuple(others))
    values |= _feet_told([*free, *others])
    free.sort(key=lambda text: _named(text) != text)
    for text in free:
        context = context.beside(_read_free(text, order, today, known))
    return context.beside(Context(values))


def _feet_told(lines: Iterable[str]) -> dict[str, str]:
    """Feet that a line says alone were looked at: "hind feet only".

    Example
    -------
    >>> _feet_told(["Hind feet only, June"]), _feet_told(["Hind feet first"]), _feet_told(["Hind feet so far"])
    ({'feet_seen': 'LH RH'}, {}, {})
    """
    for line in lines:
        words = f" {plain(line)} "
        if ONLY.isdisjoint((*words.split(), *line.casefold().split())):
            continue
        ends = {
            feet for phrase, feet in phrases("foot").items()
            if feet in ("LH RH", "LF RF") and len(phrase) > 3 and f" {phrase} " in words
        }  # fmt: skip
        if len(ends) == 1:
            return {"feet_seen": ends.pop()}
    return {}


ONLY = frozenset(word.text for _, word in forms("layout_word") if word.means == "only")
"""Words, with their accents, that say that no other feet were looked at. [common practice, no source]"""


def field_told(cell: str) -> str | None:
    """The field that a cell such as "Farm: Elm End" or "Farm" tells of, of those that are said once.

    Example
    -------
    >>> field_told("Nombre granja: Elm End"), field_told("Total: 12")
    ('farm', None)
    """
    return _field_of(cell.partition(":")[0])


_PERSON = re.compile(
    r"(?:^|(?<=[\s,;(-]))((?:[a-z\u00df-\u00ff]+\s+)?[a-z\u00df-\u00ff]+)\s+((?:[A-Z\u00c0-\u00dd]\.\s?)*[A-Z\u00c0-\u00dd][\w'-]+(?:\s[A-Z\u00c0-\u00dd][\w'-]+)?)"
)


def _person_told(text: str) -> re.Match[str] | None:
    """Words for a trimmer and a name behind them: "hoof paring, parer Tom Deasy", "trimmed 5 March by R. Pascoe".

    Example
    -------
    >>> _person_told("hoof paring, parer Tom Deasy")[2], _person_told("trimmed by R. Pascoe")[2]
    ('Tom Deasy', 'R. Pascoe')
    """
    for match in _PERSON.finditer(text):
        words = match[1].split()
        for label in (match[1], words[-1]):
            if _role_of_person(label):
                return match
    return None


def _role_of_person(label: str) -> bool:
    role = read_heading(label)
    return role is not None and role.kind == "field" and role.field == "trimmer"


def _values_told(field_name: str, text: str) -> dict[str, str]:
    """What a label and its text say; "Herd: 105 milking" tells how many cows there are and no farm.

    Example
    -------
    >>> _values_told("farm", "105 milking"), _values_told("herd_size", "95 K\u00fche")
    ({'herd_size': '105'}, {'herd_size': '95'})
    >>> _values_told("farm", "Elm End (148 cows)"), _values_told("farm", "Elm End")
    ({'herd_size': '148', 'farm': 'Elm End'}, {'farm': 'Elm End'})
    """
    herd = _herd_size(text, labelled=field_name == "herd_size") if field_name in ("farm", "herd_size") else None
    if herd is None:
        return {field_name: text}
    name = text.partition(herd)[0].strip(" ,;:([-")
    return {"herd_size": herd, **({"farm": name} if field_name == "farm" and name else {})}


def _herd_size(text: str, *, labelled: bool = False) -> str | None:
    """The number of a text that says how many cows a herd has.

    Words behind it say what the number counts: cows that were done are no herd, unless a label says it is one.

    Example
    -------
    >>> _herd_size("Elm End, 148 cows milking"), _herd_size("herd of 80"), _herd_size("12 lame cows")
    ('148', '80', None)
    >>> _herd_size("17 vacas en el cepo"), _herd_size("17 cows through the crush")
    (None, None)
    """
    for part in (text,) if labelled else re.split(r"[,;|()\[\]]|\s-\s", text):
        bare = plain(part)
        for match in _NUMBER_THEN_WORDS.finditer(bare):
            words = bare[match.end() :].split()
            sizes = (1, 2, 3) if labelled else (len(words),)
            if any(" ".join(words[:size]) in phrases("animals") for size in sizes):
                return match[1]
    herd = _HERD_OF.search(plain(text))
    return herd[1] if herd else None


def _counts_cows(text: str) -> bool:
    """Whether a text begins with a number of cows."""
    match = _NUMBER_THEN_WORDS.match(plain(text))
    words = plain(text)[match.end() :].split() if match else []
    return any(" ".join(words[:size]) in phrases("animals") for size in (1, 2))


def _field_of(text: str) -> str | None:
    role = read_heading(text)
    return role.field if role is not None and role.kind == "field" and role.field in SAID_ONCE else None


def words_explained(cell: str) -> dict[str, str]:
    """ "U = sole ulcer, M = wart" as plain word -> what it says."""
    found: dict[str, str] = {}
    unsigned: set[str] = set()
    doubtful: set[str] = set()
    other = False
    for part in re.split(r"[;\n|]", cell):
        found |= _several_entries(part, "[,/]")
    if found:
        cell = "; ".join(part for part in re.split(r"[;\n|]", cell) if not _several_entries(part, "[,/]"))
        if not cell.strip():
            return found
    rest = re.sub(r"(?:^\W*|(?<=[,;])\s*)[^\W\d_]{3,10}\s+(?=\d{1,2}\s*=)", "", cell)
    rest = re.sub(r"^\s*[^\W\d_]{3,12}\s*[:.]\s+", "", rest)
    for piece in re.split(r"[,;\n|]|\s{2,}|\.\s+(?=[^\W\d_a-z])", rest):
        if not piece.strip():
            continue
        several = _several_entries(piece)
        if several:
            found |= several
            continue
        match = _KEY.match(piece) or _NUMBERED_PLACE.match(piece)
        if match is None and (match := _code_explained(piece)) is not None:
            (doubtful if _may_be_finding(match[1], match[2]) else unsigned).add(plain(match[1]))
        if match is None:
            other = True
            continue
        found[plain(match[1]) or match[1].strip()] = match[2]
    if len(unsigned) < 2 and "=" not in cell:
        # One code with words behind it may as well be a finding.
        found = {word: said for word, said in found.items() if word not in unsigned | doubtful}
    if other:
        # Beside other words only what explains a word is a key.
        several_told = sum(explains(word, said) for word, said in found.items()) >= 2
        return {word: said for word, said in found.items() if ("=" in cell or several_told) and explains(word, said)}
    explained = {word: said for word, said in found.items() if explains(word, said)}
    return found if "=" in cell else explained if len(explained) >= min(2, len(found)) else {}


def _code_explained(piece: str) -> re.Match[str] | None:
    """A code and what it stands for with no sign between them: "US \u00falcera de suela"."""
    match = _CODE_AND_WORDS.match(piece)
    return match if match is not None and explains(match[1], match[2]) else None


def _may_be_finding(code: str, said: str) -> bool:
    """Whether a code with words behind it may as well be a finding: "LA tyloom", "WL outer"."""
    place = meaning("claw", said) or meaning("foot", said)
    return meaning("foot", code) is not None or (place is not None and meaning("lesion", code) is not None)


def _several_entries(piece: str, sign: str = "/") -> dict[str, str]:
    """ "a / i = outer / inner": as many words as meanings, one for each.

    Example
    -------
    >>> _several_entries("a / i = outer / inner"), _several_entries("a = outer / inner")
    ({'a': 'outer', 'i': 'inner'}, {})
    """
    words, equals, said = piece.partition("=")
    each, meant = ([part.strip() for part in re.split(sign, side)] for side in (words, said))
    if not equals or "=" in said or len(each) < 2 or len(each) != len(meant) or not all(map(explains, each, meant)):
        return {}
    return {plain(word) or word: text for word, text in zip(each, meant, strict=True)}


def _pair_explained(word: str, said: str) -> dict[str, str]:
    """A word, or several with as many meanings, in one cell and what it stands for in the next.

    Example
    -------
    >>> _pair_explained("ZZ", "zoolzweer"), _pair_explained("bu / bi", "buitenklauw / binnenklauw")
    ({'zz': 'zoolzweer'}, {'bu': 'buitenklauw', 'bi': 'binnenklauw'})
    """
    return {plain(word): said} if explains(word, said) else _several_entries(f"{word} = {said}")


def _pair_of_column(column: str, code: str, said: str) -> dict[str, str]:
    """A code and what it stands for behind the column that has it; a cow with her finding is none.

    Example
    -------
    >>> _pair_of_column("CODE", "K3", "sole ulcer"), _pair_of_column("6", "tyloma", "right hind")
    ({'k3': 'sole ulcer'}, {})
    >>> _pair_of_column("Bella", "SU", "right hind")
    {}
    """
    named = any(meaning(kind, code) is not None for kind in ("lesion", "foot", "nothing", "action"))
    if named or any(letter.isdigit() for letter in column) or len(code) > LONGEST_CODE:
        return {}
    return _pair_explained(code, said)


LONGEST_CODE = 4
"""Letters of a code in the second of three columns. [common practice, no source]"""


def explains(word: str, said: str) -> bool:
    """Whether the second text says what the first, a short one, stands for.

    Example
    -------
    >>> explains("U", "sole ulcer"), explains("44", "Elm End")
    (True, False)
    """
    if len(word) > 6 or not word.strip() or not re.search(r"[^\W\d_]{2}", said):
        return False
    return (
        any(meaning(kind, said) is not None for kind in ("lesion", "nothing", "foot", "claw", "action", "other_lesion"))
        or meaning("away", said) is not None
        or understand_lesion(said) is not None
        or _is_place(said)
    )


def _is_place(said: str) -> bool:
    role = read_heading(said)
    return role is not None and role.kind in ("foot", "claw")


def _read_free(text: str, order: DateOrder, today: dt.date, known: dict[str, str]) -> Context:
    dates, years, rest = days_within(text, order, today)
    values: dict[str, str] = {}
    guesses: dict[str, str] = {}
    day = None
    if dates:
        day = Day(dates[0].year, dates[0].month, dates[0].day, numbered_day(text))
    else:
        day = _day_alone(text, order, today)
        if day is not None:
            rest = ""
    person = _person_told(rest)
    if person is not None:
        values["trimmer"] = person[2]
        rest = f"{rest[: person.start()]}, {rest[person.end() :]}"
    scale = _SCALE.search(rest)
    if scale is not None:
        values["locomotion_scale"] = f"{scale[0][0]}-{scale[0][-1]}"
        rest = f"{rest[: scale.start()]}, {rest[scale.end() :]}"
    herd = _herd_size(rest)
    if herd:
        guesses["herd_size"] = herd
        rest = re.sub(r"\b" + herd + r"\b", " ", rest)
    others: list[str] = []
    kind = meaning("visit_kind", rest)
    if kind is not None:
        values["visit_kind"] = rest
        rest = ""
    parts = [part.strip(" .-_:#'\"") for part in _SEPARATORS.split(rest)]
    parts = [_without_weekday(part, dated=bool(dates) or day is not None) for part in parts]
    if _counts_cows(text):
        # "17 cows through the crush" names no farm.
        return Context(values, guesses, tuple(years), day, {}, tuple(part for part in parts if part))
    farms: list[tuple[int, str]] = []
    # A part that is a name and nothing else is likelier the farm than one with words of a title in it.
    parts.sort(key=lambda part: _named(part) != part)
    for part in parts:
        labelled = _LABELLED.match(part)
        named_field = _field_of(labelled[1]) if labelled else None
        if labelled and named_field:
            values.setdefault(named_field, labelled[2])
            continue
        if not part or plain(part).split(" ")[0] in GREETINGS:
            continue
        if plain(part) in known:
            values["farm"] = known[plain(part)]
            continue
        if _NAME_OF_PERSON.match(part):
            guesses["trimmer"] = part
            continue
        numbered = _NAME_AND_NUMBER.fullmatch(part)
        if numbered and _field_of(numbered[1]) == "group":
            values.setdefault("group", numbered[2])
            continue
        if plain(part) in GROUPS_OF_COWS:
            values.setdefault("group", part)
            continue
        if meaning("visit_kind", part) is not None and plain(part) not in ("whole", "all", "part", "check"):
            values.setdefault("visit_kind", part)
            continue
        named = _named(part)
        labelled_farm = _farm_labelled(part)
        if labelled_farm:
            values.setdefault("farm", labelled_farm)
        elif plain(named) in known:
            values["farm"] = known[plain(named)]
        elif _may_be_farm(named):
            name = _name_of_farm(named)
            farms.append((farm_weight(name, alone=named == part), name))
        elif named:
            others.append(named)
    farms.sort(key=lambda farm: -farm[0])
    others += [name for weight, name in farms[1:] if not weight]
    guesses |= {"farm": farms[0][1]} if farms else {}
    return Context(values, guesses, tuple(years), day, {}, tuple(others), tuple(farms))


def _without_weekday(part: str, *, dated: bool) -> str:
    """A part of a line without a day of the week, which stands beside a date or alone.

    Example
    -------
    >>> _without_weekday("Hollin Bank tues", dated=True), _without_weekday("Thursday", dated=False)
    ('Hollin Bank', '')
    >>> _without_weekday("Quinta do Freixo", dated=True)
    'Quinta do Freixo'
    """
    words = part.split()
    if len(words) == 1:
        short = dated and plain(words[0]) in phrases("weekday")
        return "" if short or _is_weekday(words[0]) else part
    while dated and len(words) > 1 and _is_weekday(words[-1]):
        words.pop()
    while dated and len(words) > 1 and _is_weekday(words[0]) and plain(words[0]) not in FARM_WORDS:
        words.pop(0)
    return " ".join(words).strip(" .-_:#'\"")


def _is_weekday(word: str) -> bool:
    """Whether a word is a day of the week; a short one is written small."""
    return plain(word) in phrases("weekday") and (len(plain(word)) > 3 or word.islower())


def _farm_labelled(part: str) -> str:
    """The name behind a word of titles that says farm: "Betrieb Moorkamp"; else an empty text.

    Example
    -------
    >>> _farm_labelled("Betrieb Moorkamp"), _farm_labelled("Parage \u00c9levage Morin"), _farm_labelled("Finca Rica")
    ('Moorkamp', 'Morin', '')
    """
    words = part.split()
    for place, word in enumerate(words[:-1]):
        named = words[place + 1 :]
        if not named[0][:1].isupper() or _is_title(named[0]):
            continue
        if _field_of(word) == "farm" and plain(word) in phrases("title") and all(map(_is_title, words[:place])):
            return _named(" ".join(named))
    return ""


def farm_weight(name: str, *, alone: bool = True) -> int:
    """How likely words are the name of a farm: 3 with a word that farms have, 2 a name alone, 1 a name, 0 other words.

    Example
    -------
    >>> [farm_weight(name) for name in ("Carse Farm", "Upper Slade", "bovina")], farm_weight("Brookend", alone=False)
    ([3, 2, 0], 1)
    """
    words = [word for word in name.split() if plain(word)]
    telling = [word for word in words if plain(word) not in _BEFORE_NAMES | FARM_WORDS] or words
    if not all(_begins_name(word) for word in telling):
        return 0
    if len(words) > 1 and any(plain(word) in FARM_WORDS for word in words):
        return 3
    if all(plain(word) in _SEASONS for word in telling):
        return 0
    return 2 if alone else 1


def _begins_name(word: str) -> bool:
    """Whether a word is written as part of a name: with a capital, also behind an article ("l'Alouette")."""
    own = re.split(r"['\N{RIGHT SINGLE QUOTATION MARK}]", word)[-1] or word
    return word[0].isupper() or word[0].isdecimal() or own[0].isupper()


_SEASONS = forms_meaning("layout_word", "season")


def _name_of_farm(name: str) -> str:
    """The part of a text that is a name with a word for farm at its end: "Carse Farm toe growth" is Carse Farm.

    Example
    -------
    >>> _name_of_farm("Carse Farm toe growth"), _name_of_farm("Upper Slade")
    ('Carse Farm', 'Upper Slade')
    """
    words = name.split()
    for place, word in enumerate(words[1:], 1):
        behind = words[place + 1 :]
        if plain(word) in FARM_WORDS and word[0].isupper() and behind and all(one.islower() for one in behind):
            return " ".join(words[: place + 1])
    return name


_TO = r"\s?(?:-|\N{EN DASH}|to|à|a|bis|tot|t/m|até)\s?"
_SCALE = re.compile(rf"(?<![\d.,/-])(?:0{_TO}3|1{_TO}5)(?![\d.,/-])")
"""A scale of scores in a title."""


def _named(part: str) -> str:
    """A part of a title without the words that any title may have at its ends.

    Example
    -------
    >>> _named("Brookend mobility"), _named("Parage GAEC du Moulin"), _named("Hoof list"), _named("Elm End trim March")
    ('Brookend', 'GAEC du Moulin', '', 'Elm End')
    """
    words = [word for word in part.split() if plain(word)]
    if len(words) > 1 and plain(words[-1]) in phrases("month"):
        words.pop()
    if len(words) == 2 and plain(words[1]) == "herd" and words[1][0].isupper() and not _is_title(words[0]):
        return " ".join(words).strip(" .-_:")
    telling = [place for place, word in enumerate(words) if not _is_title(word)]
    if not telling or all(plain(words[place]) in FARM_WORDS for place in telling):
        return ""
    start = telling[0]
    if start and plain(words[start - 1]) in ARTICLES and words[start - 1][0].isupper():
        start -= 1
    while start < telling[-1] and words[start].islower() and plain(words[start]) in _BEFORE_NAMES:
        start += 1  # "a la granja Los Olmos"
    return " ".join(words[start : telling[-1] + 1]).strip(" .-_:")


_BEFORE_NAMES = frozenset(
    (*phrases("filler"), *forms_meaning("layout_word", "article"), *forms_meaning("layout_word", "farm"))
)
"""Words in small letters that stand before a name and are no part of it."""


def is_name(text: str) -> bool:
    """Whether a text has a word that is none of the words of a title.

    Example
    -------
    >>> is_name("Low yielders"), is_name("Trim sheet2")
    (True, False)
    """
    return any(plain(word) and not _is_title(word) for word in text.split())


def _is_title(word: str) -> bool:
    bare = plain(word)
    return bare in phrases("title") or bool(_TITLE_STEM.match(bare) or re.fullmatch(r"[a-z]{0,2}\d+", word))


_TITLE_STEM = re.compile(
    r"(locomo|escore|scor|mobil|lahm|beweg|kreupel|boit|cojer|claudic|klau|bekap|parage|casque|apar|recort|hoof|trim|"
    r"lesion|laesi|befund|lame|seen|visit|toe|zehen|event|evento|ereignis|gebeurten)"
)
"""Beginnings of words that are titles of sheets in one of the languages. [common practice, no source]"""
ARTICLES = forms_meaning("layout_word", "article")
GROUPS_OF_COWS = forms_meaning("layout_word", "group of cows")
GREETINGS = forms_meaning("layout_word", "greeting")
FARM_WORDS = forms_meaning("layout_word", "farm") | forms_meaning("layout_word", "farm name")
"""Words that stand in many names of farms and are none alone."""


def _may_be_farm(text: str) -> bool:
    if (role := read_heading(text)) is not None and role.field.startswith("toe_length"):
        return False
    if not re.search(r"[^\W\d_]{3}", text) or len(text) > 60 or len(text.split()) > 6:
        return False
    if any(meaning(kind, text) for kind in ("lesion", "severity", "nothing", "foot", "action", "month")):
        return False
    if any(plain(word) in phrases("cue") for word in text.split()):
        # "Severity from 0 to 3" explains numbers.
        return False
    return not any(len(word) > 2 and meaning("lesion", word) for word in text.split())


def _day_alone(text: str, order: DateOrder, today: dt.date) -> Day | None:
    try:
        return read_day_text(text.strip(" .-_:"), order, today, serial=False)
    except (Unreadable, ValueError):
        return None
