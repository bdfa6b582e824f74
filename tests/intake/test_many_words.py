"""A sheet of very many different words: each costs little, twice as many cost twice as much, and all are read alike."""

from __future__ import annotations

import contextlib
import cProfile
import pstats
import random
from collections.abc import Callable

import pytest

from evenfoot.analytics.domain.lexicon import LETTERS_A_SLIP, MOST_SLIPS, SHORTEST_SUGGESTED, forms, plain, suggest
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.intake.layouts import profiles
from evenfoot.analytics.intake.parsing import finding_cell
from evenfoot.analytics.intake.parsing.cell_items import _vocabulary
from evenfoot.analytics.intake.parsing.finding_cell import read_findings
from tests.effort import tries

pytestmark = pytest.mark.long

CALLS_A_WORD = 240
"""Calls of functions that a word may cost; 195 when this was written, 313 before."""


def sheet(words: list[str]) -> bytes:
    rows = "".join(f"2025-03-03,Alder,{row % 500},LH,{word}\n" for row, word in enumerate(words))
    return f"visit_date,farm,cow,foot,lesion\n{rows}".encode()


def calls(words: list[str]) -> int:
    """How many functions of Python are called while a sheet of words is read: unlike time the same on every machine."""
    profile = cProfile.Profile(builtins=False)
    with contextlib.suppress(UserError):
        profile.runcall(check_file, sheet(words), "words.csv")
    return int(pstats.Stats(profile).total_calls)  # type: ignore[attr-defined]


def words(many: int) -> list[str]:
    return [f"word{number}" for number in range(many)]


def phrases(many: int) -> list[str]:
    """Words that are asked about, most of them with an answer that is taken unless somebody says otherwise."""
    chance = random.Random(1)
    parts = ["ba", "ko", "ri", "te", "mu", "sol", "ulc", "wart", "li", "ne", "der", "mat", "foul", "heel"]
    return [" ".join("".join(chance.choices(parts, k=2)) for _ in range(3)) + f" {number}" for number in range(many)]


def test_a_word_costs_little() -> None:
    check_file(sheet(words(10)), "words.csv")
    assert (calls(words(6000)) - calls(words(5000))) / 1000 < CALLS_A_WORD


@pytest.mark.parametrize("make", [words, phrases])
def test_words_cost_the_same_however_many_they_are(
    make: Callable[[int], list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(profiles, "MOST_TEXTS", 200)
    few, more, most = [calls(make(many)) for many in (1600, 2400, 3200, 4000)][1:]  # the first fills the caches
    assert most - more < 1.1 * (more - few)


def test_a_word_alone_is_read_as_the_whole_grammar_reads_it(monkeypatch: pytest.MonkeyPatch) -> None:
    chance = random.Random(5)
    letters = "abcdefghijklmnopqrstuvwxyz"
    ends = ("", "1", "12", "123", "x2", "m2", " ", "X3", "s", "es")
    some = ["".join(chance.choices(letters, k=chance.randint(3, 11))) for _ in range(tries(3000))]
    known = [word.replace(" ", "") for word in chance.sample(sorted(_vocabulary()[0]), tries(1500))]
    cells = [word + chance.choice(ends) for word in some] + [word + end for word in known for end in ends[:8]]
    quick = [read_findings(cell, foot=foot) for cell in cells for foot in (None, "LH")]
    short = sum(map(finding_cell._is_unknown_word, cells))
    monkeypatch.setattr(finding_cell, "_is_unknown_word", lambda _: False)
    assert quick == [read_findings(cell, foot=foot) for cell in cells for foot in (None, "LH")]
    assert short > len(cells) / 4


def slips(one: str, other: str) -> int:
    """Optimal string alignment by its own table."""
    rows: list[list[int]] = [list(range(len(other) + 1))]
    for i, letter in enumerate(one, 1):
        rows.append([i])
        for j, against in enumerate(other, 1):
            least = min(rows[i - 1][j] + 1, rows[i][j - 1] + 1, rows[i - 1][j - 1] + (letter != against))
            if i > 1 and j > 1 and letter == other[j - 2] and one[i - 2] == against:
                least = min(least, rows[i - 2][j - 2] + 1)
            rows[i].append(least)
    return rows[-1][-1]


def nearest(text: str) -> str | None:
    """What :func:`suggest` says, by looking at every form."""
    said = plain(text)
    if len(said.replace(" ", "")) < SHORTEST_SUGGESTED:
        return None
    most = min(MOST_SLIPS, len(said) // LETTERS_A_SLIP)
    found = [
        (slips(said, form), word.means, place, word.text)
        for place, (form, word) in enumerate(forms("lesion"))
        if len(form) >= SHORTEST_SUGGESTED and abs(len(form) - len(said)) <= most
    ]
    least = min((one[0] for one in found), default=most + 1)
    best = [one for one in found if one[0] == least <= most]
    if len({means for _, means, *_ in best}) != 1:
        return None
    *_, word = min(best, key=lambda one: one[2])
    return word if plain(word)[0] == said[0] else None


def test_the_nearest_word_is_found_without_looking_at_all() -> None:
    chance = random.Random(3)
    made = []
    for form, _ in chance.sample(forms("lesion"), tries(150)):
        text = list(form)
        for _ in range(chance.randint(0, 4)):
            place = chance.randrange(len(text))
            slip = chance.choice(("put in", "left out", "changed", "swapped"))
            if slip == "put in":
                text.insert(place, chance.choice("abcdefghijklmnop xé1"))
            elif slip == "left out" and len(text) > 1:
                del text[place]
            elif slip == "changed":
                text[place] = chance.choice("abcdefghij")
            elif place:
                text[place], text[place - 1] = text[place - 1], text[place]
        made.append("".join(text))
    assert [suggest(("lesion",), text) for text in made] == [nearest(text) for text in made]
    assert sum(suggest(("lesion",), text) is not None for text in made) > len(made) / 3
