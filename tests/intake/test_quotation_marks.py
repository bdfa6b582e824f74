"""Texts whose quotation marks are tidy are read by Arrow as Python's own reader reads them."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from evenfoot.analytics.intake.large_files import chunks, text_file
from evenfoot.analytics.intake.readers.quotation_marks import SEPARATORS, Quoting
from evenfoot.analytics.intake.sheet import RawSheet
from tests.effort import tries

ALL = set(SEPARATORS)
CELLS = ("a", "", '"', '""', '"a"', "é b", '"a,b"', '"a\nb"', '"a""b"', "5;")


@pytest.mark.parametrize(
    ("text", "separators"),
    [
        ("a,b\nc,d\n", ALL),
        ('"a",b\n', {","}),
        ('a;"b"\n', {";"}),
        ('"a"\n"b"\n', ALL),
        ('"a,""b"",c",d\n', {","}),
        ('"",""\n', {","}),
        ('"""a""",b\n', {","}),
        ('"a\nb",c', {","}),
        ('a,"b"', {","}),
        ('5" toe,a\n', set()),
        ('"a"b,c\n', set()),
        ('a"b"c,d\n', set()),
        ('"a,b\n', set()),
        ('""a"",b\n', set()),
        ('"a";"b",c\n', set()),
        ('a, "b"\n', set()),
    ],
)
@pytest.mark.parametrize("size", [1, 2, 3, 100])
def test_what_is_tidy(text: str, separators: set[str], size: int) -> None:
    quoting = Quoting()
    for start in range(0, len(text), size):
        quoting.add(text.encode()[start : start + size])
    assert quoting.tidy() == separators


def test_blanks_beside_marks_are_told() -> None:
    assert [Quoting().add(text) for text in (b'a,"b"\n', b'a, "b"\n', b'a,"b"\t,', b'a,"b c"\n', b"a b\n")] == [
        False, True, True, False, False,
    ]  # fmt: skip


def _rows(sheet: RawSheet) -> list[list[str]]:
    return [list(row) for row in zip(*([c.texts[k] for k in c.codes] for c in sheet.columns), strict=True)]


@settings(
    max_examples=tries(400),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(
    st.lists(
        st.lists(st.sampled_from(CELLS), min_size=2, max_size=4),
        min_size=1,
        max_size=6,
    ),
    st.integers(6, 60),
)
def test_arrow_reads_what_python_reads(tmp_path: Path, cells: list[list[str]], size: int) -> None:
    path = tmp_path / "x.csv"
    path.write_text("\n".join(",".join(row) for row in cells) + "\n", encoding="utf-8", newline="")
    file = text_file.look_through(path, "x.csv")
    if "," not in file.tidy:
        return
    theirs = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"), newline=""), strict=True))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chunks, "BYTES_A_BLOCK", size)
        try:
            ours = [row for sheet in chunks._by_arrow(file, ",", len(theirs[0])) for row in _rows(sheet)]
        except chunks.CannotRead:
            # A row is longer than a piece, or the rows differ in length.
            assert len({len(row) for row in theirs}) > 1 or size < len(path.read_bytes())
            return
    assert ours == theirs
