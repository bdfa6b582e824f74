"""Feet and claws in short, in the languages that sheets are read in."""

from __future__ import annotations

import pytest

from evenfoot.analytics.intake.parsing.finding_cell import read_findings
from tests.intake.reading import asked, read, said


@pytest.mark.parametrize(
    ("text", "claw"),
    [
        ("RSG aK", "lateral"),
        ("WLD iK", "medial"),
        ("zoolzweer bik", "medial"),
        ("ulcère ong. ext.", "lateral"),
        ("úlcera de suela dedo de afuera", "lateral"),
        ("SU pez. int.", "medial"),
        ("úlcera da sola unha lat", "lateral"),
    ],
)
def test_claws_in_short(text: str, claw: str) -> None:
    [finding] = read_findings(text).findings
    assert (finding.claw, read_findings(text).unread) == (claw, ())


def test_a_pronoun_is_no_claw() -> None:
    assert [finding.claw for finding in read_findings("DD dacht ik toen").findings] == [None]


NOTES = (
    "Los Alisos, 9 de junio de 2026\n45 pata izq úlcera de suela\n{}12 pata der flemón\n88 sana\n"
    "13 las dos patas tiloma\n"
)


def test_a_foot_of_one_side_is_asked_about() -> None:
    found = read(NOTES.format(""), "notas.txt")
    assert asked(found) >= {"foot:pata izq", "foot:pata der", "foot:las dos patas"}
    assert {foot for (foot,) in said(found, "foot")} == {None}


def test_beside_a_word_for_front_feet_the_other_word_is_the_hind_foot() -> None:
    notes = NOTES.format("310 mano der línea blanca\n")
    found = read(notes, "notas.txt")
    assert asked(found) >= {"hind-limb"}
    feet = [("45", "LH"), ("310", "RF"), ("12", "RH"), ("88", None), ("13", "LH"), ("13", "RH")]
    assert said(found, "cow", "foot") == feet
    assert asked(read(notes, "notas.txt", hind_limb="any")) >= {"foot:pata der"}


def test_cows_that_were_done_are_no_herd() -> None:
    found = read("Elm End 9 June 2026\n17 cows through the crush\nCow,LH,RH\n4,SU,\n5,,DD\n6,ok,ok\n")
    assert said(found, "farm", "herd_size") == [("Elm End", None)] * 3
    found = read("Elm End 9 June 2026, 48 cows milking\nCow,LH,RH\n4,SU,\n5,,DD\n6,ok,ok\n")
    assert {size for (size,) in said(found, "herd_size")} == {48}
