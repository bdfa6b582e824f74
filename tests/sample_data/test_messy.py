"""The notebook is as messy as it should be, and wrong only where that was meant."""

from __future__ import annotations

from evenfoot.sample_data import MESSY, messy, truths


def _lines() -> list[str]:
    return MESSY.read_bytes().decode("cp1252").split("\r\n")[:-1]


def test_it_is_windows_1252_with_semicolons() -> None:
    raw = MESSY.read_bytes()
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError:
        pass
    else:
        raise AssertionError("the notebook reads as UTF-8, so it does not try the decoding")
    assert {line.count(";") for line in _lines()} == {len(messy.HEADINGS) - 1}


def test_about_120_rows_under_title_rows() -> None:
    lines = _lines()
    assert lines[messy.HEADING_ROW - 1].split(";") == list(messy.HEADINGS.values())
    filled = [line for line in lines[messy.HEADING_ROW :] if line.strip(";")]
    assert 115 <= len(filled) <= 125
    assert len(set(filled)) == len(filled)


def test_each_planted_row_is_where_it_is_said_to_be() -> None:
    lines = _lines()
    place = {field: number for number, field in enumerate(messy.HEADINGS)}
    for bad in truths.MESSY_BAD_ROWS:
        cells = lines[bad.row - 1].split(";")
        assert cells[place[bad.field]] == bad.value, bad
        assert any(cells)


def test_the_rest_is_plausible() -> None:
    place = {field: number for number, field in enumerate(messy.HEADINGS)}
    bad = {one.row for one in truths.MESSY_BAD_ROWS}
    for number, line in enumerate(_lines(), start=1):
        cells = line.split(";")
        if number < messy.FIRST_ROW or number in bad or not any(cells):
            continue
        assert " ".join(cells[place["farm"]].split()).lower() == truths.MESSY_FARM.lower()
        assert cells[place["cow"]].strip().isdigit()
        assert int(cells[place["zone"]] or 0) <= 10
        assert int(cells[place["locomotion_score"]]) in range(1, 6)
        toe = float(cells[place["toe_length_mm"]].replace(",", ".") or 3.0)
        assert 2.5 < toe < 4
        assert bool(cells[place["foot"]]) or not cells[place["claw"]]
