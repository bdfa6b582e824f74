"""What a sheet's own key says comes before what its letters mean elsewhere."""

from __future__ import annotations

import io

import openpyxl
import pytest

from tests.intake.reading import asked, read, said

KEY = (
    '"M = Mortellaro, Z = zoolzweer, W = wittelijndefect, B = bevangen (zoolbloeding)"\n'
    '"1 = licht, 2 = matig, 3 = ernstig"\n'
)
TABLE = "Bedrijf: Veldzicht,,Datum: 9-4-2026\nKoe,LA,RA\n12,M2,\n15,,\n23,,Z3\n40,M1,B2\n41,,M4\n"


def test_a_number_behind_a_letter_of_the_key_is_its_degree() -> None:
    found = read(f"{TABLE}\n{KEY}")
    assert said(found, "cow", "foot", "lesion", "severity", "dd_stage") == [
        ("12", "LH", "DD", 2, None), ("15", None, None, None, None), ("23", "RH", "SU", 3, None),
        ("40", "LH", "DD", 1, None), ("40", "RH", "SH", 2, None), ("41", "RH", "DD", None, "M4"),
    ]  # fmt: skip


def test_without_degrees_in_the_key_m2_is_a_stage() -> None:
    found = read(f"{TABLE}\n{KEY.splitlines()[0]}\n")
    assert said(found, "cow", "lesion", "severity", "dd_stage")[0] == ("12", "DD", None, "M2")


def test_a_tab_explains_letters_and_feet_and_names_the_farm() -> None:
    book = openpyxl.Workbook()
    key = book.active
    key.title = "Key"
    for row in (["Nether Lees feet book 2026"], [], ["Letter", "Means"], ["U", "sole ulcer"], ["B", "bruised sole"],
                ["0", "trimmed, nothing wrong"], [], ["Foot no.", "Means"], [1, "right front"], [2, "left front"],
                [3, "left hind"], [4, "right hind"]):  # fmt: skip
        key.append(row)
    tab = book.create_sheet("Jan 26")
    for row in (["Day", "Cow", "Foot", "What"], [8, 112, 2, "U"], [8, 140, 3, "B"], [8, 77, None, "0"]):
        tab.append(row)
    out = io.BytesIO()
    book.save(out)
    found = read(out.getvalue(), "feetbook_nether_lees.xlsx")
    assert asked(found) == {"farm"}
    assert said(found, "visit_date", "farm", "cow", "foot", "lesion") == [
        ("2026-01-08", "Nether Lees", "112", "LF", "SU"), ("2026-01-08", "Nether Lees", "140", "LH", "SH"),
        ("2026-01-08", "Nether Lees", "77", None, None),
    ]  # fmt: skip


LEGEND = (
    "Legenda: U = úlcera de sola; D = dermatite digital; L = linha branca; 0 = sem lesão\n"
    "e = unha externa; i = unha interna; t = taco\n"
)


def test_a_letter_a_number_and_a_claw_of_the_key_are_read_together() -> None:
    """The block was read, the rest of the cell was dropped, and a cow with an ulcer came out clean."""
    table = "Data;15/05/2026;;\nFazenda;Santa Rita;;\n"
    found = read(f"{table}{LEGEND}Vaca;AD;PE;PD\n12;0;0;U4e t\n18;0;D;0\n23;0;0;0\n36;0;0;U4e, D\n")
    assert said(found, "cow", "foot", "claw", "zone", "lesion", "action") == [
        ("12", "RH", "lateral", 4, "SU", "block"), ("18", "LH", None, None, "DD", None),
        ("23", None, None, None, None, None), ("36", "RH", "lateral", 4, "SU", None),
        ("36", "RH", None, None, "DD", None),
    ]  # fmt: skip


@pytest.mark.parametrize("cell", ["U4q t", "U4q, D", "D U4q", "t, U4q"])
def test_an_unknown_word_with_a_letter_of_the_key_is_asked_about(cell: str) -> None:
    found = read(
        f"Data;15/05/2026;;\nFazenda;Santa Rita;;\n{LEGEND}Vaca;AD;PE;PD\n12;0;0;{cell}\n18;0;D;0\n23;0;0;0\n36;0;L;0\n"
    )
    assert "word:u4q" in asked(found)
    assert [row for row in said(found, "cow", "lesion") if row == ("12", None)] == []
    assert [str(row.value) for row in found.sheets[0].set_aside.itertuples()] == ["U4q"]


def test_codes_of_rear_feet_with_the_letter_of_a_claw() -> None:
    """RRO was an unknown word: the lesion stood on no foot, and nothing was asked."""
    key = '"Key: LF RF LR RR = foot, I / O = inside / outside claw"\n'
    rows = "3/24/2026,Ash,7,RRO-SU4\n3/24/2026,Ash,8,LRI-SH5\n3/24/2026,Ash,9,LR-DD\n3/24/2026,Ash,10,RFI-TU5\n"
    assert said(read(f"{key}Date,Farm,Cow,Lesion\n{rows}"), "cow", "foot", "claw", "lesion") == [
        ("7", "RH", "lateral", "SU"), ("8", "LH", "medial", "SH"), ("9", "LH", None, "DD"), ("10", "RF", "medial", "TU")
    ]  # fmt: skip
