"""The catalogue has everything that is said, in every language, with the same values in it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po

from evenfoot.dashboard.cli.extraction import gathered, templates
from evenfoot.dashboard.i18n.catalogue import TRANSLATED, catalogue, path_of
from evenfoot.dashboard.i18n.translation import Words, _, _n, speaking, told

PLACE = re.compile(r"\{(\w*)")
NOT_OF_COWS = re.compile(r"\b(?:pies?|cascos?|puntas?|raz(?:ón|ones) de momios|mm mm)\b|[\d}%] to [\d{]", re.IGNORECASE)
"""What Spanish does not say of cows: people have a "pie", horses a "casco", a claw has a "pinza" and no "punta"; and
slips: another word for the odds ratio, a range in English, a unit said twice."""


@pytest.fixture(scope="module")
def code() -> Catalog:
    return gathered()


def messages(catalog: Catalog) -> dict[object, Message]:
    return {message.id: message for message in catalog if message.id}


def read(language: str) -> dict[object, Message]:
    with path_of(language).open("rb") as file:
        return messages(read_po(file, locale=language))


@pytest.mark.parametrize("language", TRANSLATED)
def test_the_file_has_what_the_code_says_and_nothing_else(code: Catalog, language: str) -> None:
    """Mended by ``make catalogue``, and words for what it lists."""
    assert set(read(language)) == set(messages(code))


@pytest.mark.parametrize("language", TRANSLATED)
def test_nothing_is_left_without_words(language: str) -> None:
    assert [message.id for message in read(language).values() if not message.string or message.fuzzy] == []


@pytest.mark.parametrize("language", TRANSLATED)
def test_templates_are_filled_with_the_same_values(language: str) -> None:
    for english, said in catalogue(language).items():
        assert set(PLACE.findall(said)) == set(PLACE.findall(english)), english


def test_spanish_is_not_a_copy_of_the_english() -> None:
    same = {
        english
        for english, spanish in catalogue("es").items()
        if english == spanish and re.search(r"[A-Za-z]{5,} [A-Za-z]{3,}", PLACE.sub("", english))
    }
    assert same == set()


def test_spanish_is_that_of_the_trade() -> None:
    """Nothing is excepted: no text speaks of a person's foot or of the foot of a page."""
    assert {said: found[0] for said in catalogue("es").values() if (found := NOT_OF_COWS.search(said))} == {}


def test_templates_are_found_in_conditions_tables_and_constants(tmp_path: Path) -> None:
    page = tmp_path / "page.py"
    page.write_text(
        'KIND = "Kind"\n'
        'def f(n):\n    return _("One" if n else "None"), told(KIND), _n("{n} cow", "{n} cows", n), '
        'Panel("name", "Title", draw, "Formula " "in two")\n'
    )
    with page.open("rb") as file:
        found = [message for _line, _function, message, _notes in templates(file, None, None, None)]
    assert sorted(found) == ["Formula in two", "Kind", "None", "One", "Title", "{n} cow", "{n} cows"]


def test_somebodys_own_words_are_never_said_in_another_language() -> None:
    with speaking(Words("es")):
        assert _("Remove {what}", what="Lame") == "Quitar Lame"
        assert told("Lame") == "Cojas"
        assert _n("{n} cow", "{n} cows", 1200) == "1.200 vacas"
    assert _("Remove {what}", what="Lame") == "Remove Lame"
