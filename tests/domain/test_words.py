"""Everyday words of the trade, and the words that must not be guessed at."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenfoot.analytics.domain import feet, housing, lesions, locomotion, visits


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ("ulcer|Sole Ulcer|SU|su|sole-ulcer|Rusterholz ulcer", "SU"),
        ("white line|WL|White-line disease|whiteline", "WL"),
        ("white line abscess|WLA|White Line Abscess.", "WLA"),
        ("wart|hairy wart|strawberry|digital dermatitis|DD|Mortellaro", "DD"),
        ("foul|foot rot|FOOTROT|interdigital phlegmon", "IP"),
        ("corn|growth|limax|tyloma|interdigital hyperplasia", "IH"),
        ("haemorrhage|hemorrhage|bruise|sole hemorrhage", "SH"),
        ("heel erosion|slurry heel|heel horn erosion", "HHE"),
        ("sand crack|vertical fissure|HFV", "HFV"),
        ("double sole|DS|underrun sole", "DS"),
        ("toe ulcer", "TU"), ("toe necrosis", "TN"), ("thin sole", "TS"), ("corkscrew", "CC"),
        ("heel ulcer|bulb ulcer", "BU"), ("swelling of coronet and/or bulb|swollen coronet", "SW"),
    ],
)  # fmt: skip
def test_everyday_words(words: str, code: str) -> None:
    for word in words.split("|"):
        assert lesions.understand_lesion(word) == code, word


@pytest.mark.parametrize("text", ["DD M2", "dd-m2", "M2", "digital dermatitis (M2)", "wart m2", "DD/M2", "m 2"])
def test_a_stage_may_stand_with_the_lesion(text: str) -> None:
    assert lesions.understand_lesion(text) == "DD"
    assert lesions.understand_stage(text) == "M2"


@pytest.mark.parametrize("text", ["squishy", "SU + WL", "DD, HHE", "ulcer M2", "M5", "M21", "lesion", "sore"])
def test_what_is_not_in_the_list_is_not_guessed(text: str) -> None:
    assert lesions.understand_lesion(text) is None


def test_every_name_and_code_is_understood_as_itself() -> None:
    for code, lesion in lesions.LESIONS.items():
        assert lesions.understand_lesion(lesion.name) == code
        assert lesions.understand_lesion(code.lower()) == code
        assert lesions.parent_of(lesions.parent_of(code)) == lesions.parent_of(code)
        assert lesion.family in lesions.FAMILIES
        assert not lesions.says_nothing_found(lesion.name)
        assert set(lesion.usual_zones) <= set(feet.ZONES)


@given(st.text(max_size=30))
def test_any_text_is_answered(text: str) -> None:
    assert lesions.understand_lesion(text) in {None, *lesions.LESIONS}
    assert feet.understand_foot(text) in {None, *feet.FEET}
    assert feet.understand_claw(text) in {None, *feet.CLAWS}
    assert set(feet.understand_feet(text) or ()) <= set(feet.FEET)
    assert housing.understand_housing(text) in {None, *housing.HOUSINGS}
    assert locomotion.understand_scale(text) in {None, *locomotion.SCALES}
    assert visits.understand_visit_kind(text) in {None, *visits.VISIT_KINDS}


@pytest.mark.parametrize(
    ("words", "foot"),
    [
        ("LH|left hind|hind left|LR|HL|BL|left rear|Left-Hind foot|left back|lefthind|L H", "LH"),
        ("RF|right front|front right|FR|right fore|RF leg", "RF"),
        ("RH|RR|right rear|BR|right hind", "RH"),
        ("LF|left front|FL", "LF"),
    ],
)
def test_feet(words: str, foot: str) -> None:
    for word in words.split("|"):
        assert feet.understand_foot(word) == foot, word


def test_claws_and_several_feet() -> None:
    assert {feet.understand_claw(w) for w in ("outer", "Outside", "L", "lateral claw", "o")} == {"lateral"}
    assert {feet.understand_claw(w) for w in ("inner", "Inside", "M", "medial", "i")} == {"medial"}
    assert feet.understand_claw("abaxial") is None
    assert feet.understand_feet("LH RH") == ("LH", "RH")
    assert feet.understand_feet("all four") == feet.FEET
    assert feet.understand_feet("LH, nose") is None


def test_every_named_thing_is_understood() -> None:
    for name in housing.HOUSINGS:
        assert housing.understand_housing(name) == name
    for name in housing.FLOORS:
        assert housing.understand_floor(name) == name
    for name in housing.WETNESS:
        assert housing.understand_wetness(name) == name
    for name in visits.VISIT_KINDS:
        assert visits.understand_visit_kind(name) == name
    for name in locomotion.SCALES:
        assert locomotion.understand_scale(name) == name
