"""Every word of the vocabulary reads as its value, in any case, alone and in a sheet."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Mapping

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenfoot.analytics.domain import feet, horn, horn_limits, housing, lesions, lexicon, locomotion, visits
from evenfoot.analytics.intake.parsing import vocabulary
from evenfoot.analytics.intake.parsing.cell_error import Unreadable
from evenfoot.analytics.intake.parsing.column_values import is_blank
from evenfoot.analytics.intake.parsing.vocabulary import READERS, read_severity
from tests.intake.books import only


def spoken(*kinds: str) -> dict[str, str]:
    """Every word of some kinds of the lexicon, as it is written, and what it means."""
    return {word.text: word.means for kind in kinds for word in lexicon.words(kind)}


SEVERITIES = {
    **{word: int(means) for word, means in spoken("severity").items()}, **vocabulary._SEVERITY_MARKS
}  # fmt: skip

WORDS: dict[str, Mapping[str, object]] = {
    "severity": {**SEVERITIES, "1": 1, "2": 2, "3": 3},
    "action": {**spoken("action"), "other": "other"},
    "yes-no": {**dict.fromkeys([*spoken("yes"), *vocabulary._YES_MARKS], True), **dict.fromkeys(spoken("no"), False)},
    "visit kind": {**spoken("visit_kind"), **{kind: kind for kind in visits.VISIT_KINDS}},
    "housing": {**housing._HOUSING, **{code: code for code in housing.HOUSINGS}},
    "floor": {**housing._FLOOR, **{code: code for code in housing.FLOORS}},
    "wetness": {**housing._WETNESS, **{code: code for code in housing.WETNESS}},
    "foot": {word: means for word, means in spoken("foot").items() if means in feet.FEET},
    "claw": {word: means for word, means in spoken("claw", "claw_alone").items() if means in feet.CLAWS},
    "dd stage": {stage: stage for stage in lesions.DD_STAGES},
    "shed stage": {str(stage): stage for stage in horn.SHED_STAGES} | {f"stage {n}": n for n in horn.SHED_STAGES},
    "zone": {str(zone): zone for zone in feet.ZONES} | {word: int(means) for word, means in spoken("zone").items()},
    "scale": {name: name for name in locomotion.SCALES},
    "horn limit": {name: name for name in horn_limits.LIMITS},
}
"""Type of field -> word -> what it is read as."""

CASES = (str, str.upper, str.title, lambda word: f"  {word} ")


@pytest.mark.parametrize("type", WORDS)
def test_every_word_reads_as_its_value(type: str) -> None:
    for word, value in WORDS[type].items():
        for written in (case(word) for case in CASES):
            assert not is_blank(written, type), written
            assert READERS[type](written) == value, written


LESION_WORDS = {
    **spoken("lesion"),
    **dict.fromkeys(spoken("other_lesion"), lesions.OTHER_LESION),
    **dict.fromkeys(lesions.DD_STAGES, "DD"),
}

SHEETS: dict[str, tuple[str, str, str, Mapping[str, object]]] = {
    "severity": ("trims", "severity,lesion", "{},ulcer", WORDS["severity"]),
    "action": ("trims", "action,lesion", "{},ok", WORDS["action"]),
    "visit_kind": ("trims", "visit kind,lesion", "{},ok", WORDS["visit kind"]),
    "housing": ("trims", "housing,lesion", "{},ok", WORDS["housing"]),
    "floor": ("trims", "floor,lesion", "{},ok", WORDS["floor"]),
    "foot": ("trims", "foot,lesion", "{},ulcer", WORDS["foot"]),
    "claw": ("trims", "claw,foot,lesion", "{},LH,ulcer", WORDS["claw"]),
    "dd_stage": ("trims", "dd stage,lesion", "{},DD", WORDS["dd stage"]),
    "shed_stage": ("trims", "shed stage,foot,lesion", "{},LH,ok", WORDS["shed stage"]),
    "wetness": ("housing", "wetness,housing", "{},freestall", WORDS["wetness"]),
    "pasture": ("housing", "pasture,housing", "{},freestall", WORDS["yes-no"]),
    "lesion": (
        "trims", "lesion,foot", "{},LH", {word: lesions.parent_of(code) for word, code in LESION_WORDS.items()}
    ),
}  # fmt: skip
"""Field -> kind of sheet, headings, cells of a row, and the words in the first of them."""


@pytest.mark.parametrize("field", SHEETS)
def test_every_word_reads_as_its_value_in_a_sheet(field: str) -> None:
    kind, headings, cells, words = SHEETS[field]
    out = io.StringIO()
    sheet = csv.writer(out)
    start = {"trims": "date", "housing": "from"}[kind]
    sheet.writerow([start, "farm", *(["cow"] if kind == "trims" else ["group"]), *headings.split(",")])
    expected = []
    for word, value in words.items():
        for written in (case(word) for case in CASES):
            # A visit, and a group, of its own: kinds of visit do not meet.
            farm, since = divmod(len(expected), 2000)
            day = dt.date(2020, 1, 1) + dt.timedelta(since)
            sheet.writerow(
                [day, f"Elm {farm}", str(len(expected)), *(cell.format(written) for cell in cells.split(","))]
            )
            expected.append((written, value))
    read = only(out.getvalue().encode())
    assert read.kind == kind
    assert read.set_aside.empty, read.set_aside[["value", "reason"]].head().to_dict("records")
    got = [None if pd.isna(value) else value for value in read.records[field]]
    assert [(written, value) for (written, _), value in zip(expected, got, strict=True)] == expected


@given(st.sampled_from(sorted(SEVERITIES)), st.sampled_from(["grade", "severity", "sev", "Sev.", "Grade:"]))
def test_the_name_of_the_column_may_stand_before_a_severity(word: str, named: str) -> None:
    assert read_severity(f"{named} {word}") == SEVERITIES[word]


@given(
    st.text(alphabet="abcdefghijklmnopqrstuvwxyz", min_size=1, max_size=6),
    st.sampled_from(["sev", "grade", "severity"]),
)
def test_a_word_that_only_begins_like_the_column_is_not_cut(rest: str, beginning: str) -> None:
    """What follows must not be taken for a word of its own: ``sevi`` is not grade I."""
    word = beginning + rest
    known = lexicon.meaning("severity", word) or SEVERITIES.get(word)
    if known is not None:
        assert read_severity(word) == int(known)
    else:
        with pytest.raises(Unreadable):
            read_severity(word)
