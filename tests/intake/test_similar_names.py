"""Candidates for names that mean the same: the likely ones with a default, the others asked, the rest left alone."""

from __future__ import annotations

import time

import pytest

from evenfoot.analytics.intake.checks.similar_names import similar_cows, similar_farms


@pytest.mark.parametrize(
    "said", ["Brook End", "Brookend Farm", "BROOKEND FM", "Mr Hale Brookend", "The Brook-End Dairy"]
)
def test_spellings_of_one_farm(said: str) -> None:
    [found] = similar_farms([said], ["Larch Hill", "Brookend"])
    assert (found.said, found.means, found.certain) == (said, "Brookend", True)


def test_one_farm_in_five_spellings_of_one_sheet() -> None:
    said = ["Brookend", "Brook End", "Brookend Farm", "BROOKEND FM", "Mr Hale Brookend"]
    assert [(one.said, one.means) for one in similar_farms(said, [])] == [(name, "Brookend") for name in said[1:]]


@pytest.mark.parametrize(
    ("said", "known"), [("Larch Hill", "Larch Hall"), ("Upper Brookend", "Brookend"), ("Brookend", "Hale Brookend")]
)
def test_farms_that_are_asked_about_without_a_default(said: str, known: str) -> None:
    [found] = similar_farms([said], [known])
    assert (found.means, found.certain) == (known, False)


@pytest.mark.parametrize(
    ("said", "known"), [("brookend ", "Brookend"), ("Alder", "Birch"), ("Elm", "Elk"), ("Farm", "Dairy"), ("", "Elm")]
)
def test_farms_that_are_not_asked_about(said: str, known: str) -> None:
    assert similar_farms([said], [known]) == []


def test_two_farms_with_one_name_are_not_taken_for_each_other() -> None:
    [found] = similar_farms(["Brook-End"], ["Brookend Farm", "Brookend Dairy"])
    assert not found.certain


@pytest.mark.parametrize(
    ("said", "known"),
    [
        ("42", "0042"), ("107.0", "0107"), ("NL1234", "NL 1234"), ("#1042", "1042"), ("1042*", "1042"), ("0042", "42"),
        ("NL 0012", "nl12"), ("12-b", "12B"), ("42,00", "42"),
    ],
)  # fmt: skip
def test_spellings_of_one_number(said: str, known: str) -> None:
    [found] = similar_cows([said], [known, "999"])
    assert (found.said, found.means, found.certain) == (said, known, True)


@pytest.mark.parametrize(
    ("said", "known"),
    [("142", ["42"]), ("42", ["42", "0042"]), ("NL1234", ["1234"]), ("A1", ["B1"]), ("8123", ["812"]), ("*", ["#"])],
)
def test_numbers_that_are_not_asked_about(said: str, known: list[str]) -> None:
    assert similar_cows([said], known) == []


def test_numbers_that_are_asked_about_without_a_default() -> None:
    [found] = similar_cows(["042"], ["42", "0042"])
    assert not found.certain
    [found] = similar_cows(["DE 0812345678"], ["5678", "4321"])
    assert (found.means, found.certain) == ("5678", False)
    [found] = similar_cows(["5678"], ["DE 0812345678"])
    assert (found.means, found.certain) == ("DE 0812345678", False)
    assert similar_cows(["DE 0812345678", "DE 0999995678"], ["5678"]) == []


def test_zeros_within_one_sheet_may_be_two_cows() -> None:
    marks, zeros = similar_cows(["1042", "#1042", "42", "0042"], [])
    assert (marks.means, marks.certain) == ("1042", True)
    assert (zeros.said, zeros.means, zeros.certain) == ("0042", "42", False)


def test_fifty_thousand_numbers_take_no_time() -> None:
    known = [f"{number:06d}" for number in range(50_000)]
    said = [f"DE 08{number:08d}" for number in range(25_000)] + [str(number) for number in range(25_000)]
    start = time.process_time()
    found = similar_cows(said, known)
    assert time.process_time() - start < 1.0
    assert len(found) >= 25_000
