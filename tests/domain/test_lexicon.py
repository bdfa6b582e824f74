"""The words of six languages: none means two things, none is lost, and a misspelt one is asked about."""

from __future__ import annotations

import csv
from collections import defaultdict
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenfoot.analytics.domain import feet, lesions, lexicon, visits
from evenfoot.analytics.intake.fields import KINDS as SHEETS

HEADINGS = ("heading", "ambiguous")
WORD_KINDS = tuple(kind for kind in lexicon.KINDS if kind not in HEADINGS)
DETAILS = set(lesions.LESIONS)
ONLY_HERE = {"left", "right", "both"}

MEANINGS: dict[str, set[str]] = {
    "lesion": set(lesions.LESIONS),
    "nothing": {"nothing"},
    "foot": {*feet.FEET, "LF RF", "LH RH", "LF LH", "RF RH", "LF RF LH RH"},
    "foot_alone": {"LF RF LH RH"},
    "claw": {*feet.CLAWS, *ONLY_HERE},
    "claw_alone": {*feet.CLAWS, *ONLY_HERE},
    "zone": {str(zone) for zone in feet.ZONES},
    "severity": {str(severity) for severity in lesions.SEVERITIES},
    "action": set(visits.ACTIONS),
    "visit_kind": set(visits.VISIT_KINDS),
    "month": {str(month) for month in range(1, 13)},
    "weekday": {str(day) for day in range(7)},
    "side": {"L", "R"},
    "end": {"F", "H"},
    "yes": {"yes"},
    "no": {"no"},
    "negation": {"no"},
    "filler": {"filler", "and"},
    "remark": {"lame", "overgrown", "course", "depth", "recheck", "leg"},
    "total": {"bill", "total", "count"},
    "away": {"away", "unseen", "void"},
    "layout_word": {
        "again",
        "diagnosis",
        "gait",
        "greeting",
        "group of cows",
        "part of claw",
        "part of foot",
        "zone",
        "farm name",
        "formerly",
        "season",
        "later",
        "now",
        "front limb",
        "hind limb",
        "only",
        "both",
        "skin",
        "and",
        "same foot",
        "for",
        "article",
        "farm",
        "score",
        "seen",
        "with",
    },
    "cow_number": {"cow number"},
    "feet_event": {"feet", "other"},
}
CANDIDATES = {
    *lesions.LESIONS, *feet.FEET, *feet.CLAWS, *ONLY_HERE, *map(str, feet.ZONES), "claw", "nothing", "lesion", "trim",
    "filler",
}  # fmt: skip
LAYOUT = {"side", "end", "lame", "event", "event_remark", "treated"}


@pytest.mark.parametrize("kind", WORD_KINDS)
def test_no_word_of_a_kind_means_two_things(kind: str) -> None:
    means = defaultdict(set)
    for form, word in lexicon.forms(kind):
        assert form, word
        assert word.language in lexicon.LANGUAGES
        means[form].add(word.means)
    assert {form: meant for form, meant in means.items() if len(meant) > 1} == {}


def test_no_word_of_a_cell_stands_in_two_kinds() -> None:
    kinds = defaultdict(set)
    for kind in lexicon.CELL_KINDS:
        for form, _ in lexicon.forms(kind):
            kinds[form].add(kind)
    assert {form: found for form, found in kinds.items() if len(found) > 1} == {}


@pytest.mark.parametrize("kind", MEANINGS)
def test_words_mean_what_the_program_knows(kind: str) -> None:
    assert {word.means for word in lexicon.words(kind)} == MEANINGS[kind]


def test_doubtful_words_name_candidates() -> None:
    for word in lexicon.words("doubtful"):
        candidates = word.means.split()
        assert set(candidates) <= CANDIDATES, word
        assert len(candidates) > 1, word


@pytest.mark.parametrize("kind", [kind for kind in WORD_KINDS if kind not in ("foot_alone",)])
def test_every_kind_has_every_language(kind: str) -> None:
    assert {word.language for word in lexicon.words(kind)} == set(lexicon.LANGUAGES)


@pytest.mark.parametrize("language", lexicon.LANGUAGES)
def test_every_lesion_has_a_name_in_every_language(language: str) -> None:
    assert {word.means for word in lexicon.words("lesion") if word.language == language} == set(lesions.LESIONS)


def test_codes_and_names_of_lesions_are_words() -> None:
    for code, lesion in lesions.LESIONS.items():
        assert lexicon.meaning("lesion", code) == code
        assert lexicon.meaning("lesion", lesion.name) == code


def test_every_file_is_a_kind_and_has_its_columns() -> None:
    folder = resources.files("evenfoot.analytics.domain").joinpath("words")
    assert {entry.name for entry in folder.iterdir()} == {f"{kind}.csv" for kind in lexicon.KINDS}
    for kind in lexicon.KINDS:
        rows = list(csv.reader(folder.joinpath(f"{kind}.csv").read_text("utf-8").splitlines()))
        assert rows[0] == ["means", "language", "words"]
        assert all(len(row) == 3 and all(row) for row in rows)
        assert len({tuple(row[:2]) for row in rows}) == len(rows), kind


def test_there_is_no_such_kind() -> None:
    with pytest.raises(KeyError):
        lexicon.words("weather")


@pytest.mark.parametrize("sheet", [*SHEETS, "layout", "own"])
def test_no_heading_of_a_sheet_means_two_fields(sheet: str) -> None:
    """Columns of layouts and own columns stand on the same sheets as fields."""
    known = {"trims": {"trims", "*", "layout", "own"}, "layout": {"layout"}, "own": {"own"}}.get(
        sheet, {sheet, "*", "own"}
    )
    names = {field.name for field in SHEETS[sheet]} if sheet in SHEETS else set()
    means = defaultdict(set)
    for form, word in lexicon.forms("heading"):
        of, name = word.means.replace("own:", "own.").split(".", 1)
        if of in known and (of != "*" or name in names):
            means[form.replace(" ", "")].add(word.means)
    assert {form: meant for form, meant in means.items() if len(meant) > 1} == {}


def test_headings_name_fields() -> None:
    for word in lexicon.words("heading"):
        if word.means.startswith("own:"):
            continue
        of, name = word.means.split(".")
        fields = {
            "*": {field.name for fields in SHEETS.values() for field in fields},
            "layout": LAYOUT,
        }.get(of) or {field.name for field in SHEETS[of]}
        assert name in fields, word.means


def test_fields_have_headings_in_every_language() -> None:
    for sheet, fields in SHEETS.items():
        for field in fields:
            said = {
                word.language
                for word in lexicon.words("heading")
                if word.means in (f"{sheet}.{field.name}", f"*.{field.name}")
            }
            assert said == set(lexicon.LANGUAGES), (sheet, field.name)


def test_ambiguous_headings_name_fields() -> None:
    own = {f"own:{name.replace(' ', '_')}" for name in lexicon.headings("own").values()}
    fields = {field.name for fields in SHEETS.values() for field in fields} | LAYOUT | own
    means = defaultdict(set)
    for form, word in lexicon.forms("ambiguous"):
        assert set(word.means.split()) <= fields, word
        assert len(word.means.split()) > 1, word
        means[form].add(word.means)
    assert all(len(meant) == 1 for meant in means.values())


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("Sohlengeschwür|sohlengeschwuer|SOHLENGESCHWUR|Rusterholz|zoolzweer|ulcère de la sole|cerise", "SU"),
        ("úlcera de suela|ulcera de sola|Ulcera de Suela", "SU"),
        ("Weiße-Linie-Defekt|WLD|wittelijndefect|línea blanca|doença da linha branca", "WL"),
        ("eitrig-hohle Wand|abcès de la ligne blanche|absceso de línea blanca", "WLA"),
        ("Mortellaro|dermatite digitée|dermatitis digital|aardbei", "DD"),
        ("stinkpoot|fourchet|dermatite interdigital", "ID"),
        ("gabarro|panadizo|Panaritium|Zwischenklauennekrose|tussenklauwontsteking|panaris|flegmão", "IP"),
        ("Ballenfäule|Ballenhornfäule|erosão de talão|erosión de talón|érosion du talon", "HHE"),
        ("Limax|Tylom|tyloom|limace|tiloma|hiperplasia interdigital", "IH"),
        ("bleime|Sohlenblutung|zoolbloeding|hemorragia de suela", "SH"),
        ("seime|Hornspalt|hoornkloof", "HF"),
        ("Rollklaue|kurkentrekkerklauw|onglon en tire-bouchon|saca-rolhas", "CC"),
        ("stone|Nageltritt|fourbure|bevangenheid|clavo halladizo", "other"),
    ],
)
def test_words_of_the_barn(text: str, code: str) -> None:
    for word in text.split("|"):
        assert lesions.understand_lesion(word) == code, word


@pytest.mark.parametrize(
    "word", ["abscess", "Klauenfäule", "piétin", "absceso", "heel", "podridão", "he", "Zwischenklauenentzündung"]
)
def test_words_that_can_mean_several_things_are_not_guessed(word: str) -> None:
    assert lexicon.meaning("doubtful", word) is not None
    assert lesions.understand_lesion(word) is None


@pytest.mark.parametrize(
    "word", ["o.B.", "sin lesión", "nichts", "geen", "rien", "R.A.S.", "nada", "nil", "sain", "kein"]
)
def test_words_for_nothing_found(word: str) -> None:
    assert lesions.says_nothing_found(word)


@pytest.mark.parametrize(
    ("words", "foot"),
    [
        ("VL|LV|AVG|AG|AI|AE|delantera izquierda|vorne links|links voor|avant gauche", "LF"),
        ("HL|LA|ARG|PG|PI|TI|PE|trasera izquierda|Hinterbein links|linksachter", "LH"),
        ("HR|RA|ARD|PD|TD|posterior direito|postérieur droit|hinten rechts", "RH"),
        ("VR|RV|AVD|AD|mano derecha|dianteiro direito", "RF"),
    ],
)
def test_feet_in_six_languages(words: str, foot: str) -> None:
    for word in words.split("|"):
        assert feet.understand_foot(word) == foot, word


@pytest.mark.parametrize(
    ("text", "feet_named"),
    [("beide hinten", ("LH", "RH")), ("VL und HR", ("LF", "RH")), ("PI y PD", ("LH", "RH")), ("4", feet.FEET),
     ("alle vier", feet.FEET), ("derecha", ("RF", "RH")), ("L/H", ("LH",)), ("les deux arrières", ("LH", "RH"))],
)  # fmt: skip
def test_several_feet(text: str, feet_named: tuple[str, ...]) -> None:
    assert feet.understand_feet(text) == feet_named


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("mortelaro", "mortellaro"),
        ("Mortelarro", "mortellaro"),
        ("sole ulser", "sole ulcer"),
        ("digital dermatits", "digital dermatitis"),
        ("whiteline diseaze", "whiteline disease"),
        ("white lien", "white line"),
        ("sohlengeschwur", "sohlengeschwür"),
        ("Sohlengeschwuer", "sohlengeschwür"),
        ("sohlengeschür", "sohlengeschwür"),
        ("zoolzwer", "zoolzweer"),
        ("ulcera de suelo", "úlcera de suela"),
        ("corkskrew", "corkscrew"),
        ("fuol", "foul"),
        ("interdigtal", "interdigital"),
        ("moderat lesoin", None),
        ("xyzzy", None),
        ("ulc", None),
        ("fot", None),
        ("su", None),
        ("walks well", None),
    ],
)
def test_did_you_mean(said: str, meant: str | None) -> None:
    assert lexicon.suggest(("lesion", "zone", "severity"), said) == meant


def test_nothing_is_suggested_between_two_meanings() -> None:
    assert lexicon.meaning("lesion", "toe ulcer") != lexicon.meaning("lesion", "sole ulcer")
    assert lexicon.suggest(("lesion",), "toole ulcer") is None


@given(st.sampled_from([word for word in lexicon.words("lesion") if len(lexicon.plain(word.text)) > 8]), st.data())
def test_a_word_with_two_letters_swapped_is_never_taken_for_another_lesion(
    word: lexicon.Word, data: st.DataObject
) -> None:
    text = lexicon.plain(word.text)
    place = data.draw(st.integers(0, len(text) - 2))
    swapped = text[:place] + text[place + 1] + text[place] + text[place + 2 :]
    found = lexicon.suggest(("lesion",), swapped)
    assert found is None or lexicon.meaning("lesion", found) == word.means


@given(st.text(max_size=40))
def test_any_text_has_a_plain_form_that_stays(text: str) -> None:
    assert lexicon.plain(lexicon.plain(text)) == lexicon.plain(text)
    found = lexicon.suggest(("lesion", "action"), text)
    assert found is None or lexicon.meaning("lesion", found) or lexicon.meaning("action", found)
