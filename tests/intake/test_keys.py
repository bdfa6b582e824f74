"""What a sheet's own key says comes before what its letters mean elsewhere."""

from __future__ import annotations

import io

import openpyxl

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
