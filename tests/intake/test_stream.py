"""A file taken in pieces gives what it gives in one: the same records, the same rows set aside, the same words."""

import csv
import errno
import gc
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from evenfoot import sample_data
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.intake.checks import dictionary_encoding
from evenfoot.analytics.intake.large_files import chunks, text_file
from evenfoot.analytics.intake.large_files import stream as streaming
from evenfoot.analytics.intake.large_files.stream import check_stream
from evenfoot.analytics.intake.parsing import combinations
from evenfoot.analytics.intake.sheet import CheckedSheet
from evenfoot.sample_data import truths
from tests.effort import tries
from tests.intake.books import TODAY, reasons, whole_of
from tests.intake.test_any_file import _CELL, _HEADING

pytestmark = pytest.mark.long

_SHARED = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.function_scoped_fixture]


def _in_one(path: Path, **options: object) -> list[CheckedSheet] | str:
    try:
        return check_file(path, path.name, today=TODAY, **options)  # type: ignore[arg-type]
    except UserError as mistake:
        return str(mistake)


def _in_pieces(path: Path, **options: object) -> CheckedSheet | str | None:
    try:
        stream = check_stream(path, path.name, today=TODAY, big_from=0, **options)  # type: ignore[arg-type]
        return None if stream is None else whole_of(stream)
    except UserError as mistake:
        return str(mistake)


def _same(path: Path, **options: object) -> bool:
    """Compare the two ways; whether the file could be taken in pieces."""
    one, other = _in_one(path, **options), _in_pieces(path, **options)
    if other is None:
        return False
    if isinstance(one, str) or isinstance(other, str):
        assert one == other
        return True
    (sheet,) = one
    assert (sheet.kind, sheet.source, sheet.rows_read) == (other.kind, other.source, other.rows_read)
    assert (sheet.held, sheet.blanked) == (other.held, other.blanked)
    pd.testing.assert_frame_equal(sheet.records, other.records)
    pd.testing.assert_frame_equal(sheet.set_aside, other.set_aside)
    pd.testing.assert_frame_equal(sheet.understood, other.understood)
    assert [str(note) for note in sheet.notes] == [str(note) for note in other.notes]
    return True


@pytest.fixture(params=["one piece", "seven rows a piece"])
def piece_size(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if request.param != "one piece":
        monkeypatch.setattr(chunks, "ROWS_A_PIECE", 7)
        monkeypatch.setattr(chunks, "BYTES_A_BLOCK", 4096)
        # As in a sheet of so many texts that no table of their combinations is kept.
        monkeypatch.setattr(combinations, "MOST_COMBINATIONS", 0)


@pytest.mark.parametrize("path", [p for p in sample_data.FILES if p.suffix == ".csv"], ids=lambda p: p.stem)
def test_the_demo_herds(path: Path) -> None:
    assert _same(path)
    assert _same(path, known_farms=("larkmoor",))


def test_the_messy_book_by_either_reader(piece_size: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Two findings in a cell, a remark for a lesion and a row without a cow are for the reader of whole files ...
    assert _in_pieces(sample_data.MESSY) is None
    text = sample_data.MESSY.read_bytes().decode("utf-8", "replace").replace("\r\n", "\n")
    assert truths.MESSY_FARM in text
    lines = [line for line in text.split("\n") if line.strip()]
    path = tmp_path / "plain.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="")
    assert text_file.look_through(path, "plain.csv").plain
    assert _in_pieces(path) is None
    # ... and of a file too large for it such rows are set aside.
    monkeypatch.setattr(streaming, "LARGEST_UNFOLDED", 0)
    for book, shift in ((sample_data.MESSY, 0), (path, None)):
        sheet = _in_pieces(book)
        assert isinstance(sheet, CheckedSheet)
        said = reasons(sheet)
        assert [value for _, _, value in said] == [bad.value for bad in truths.MESSY_BAD_ROWS]
        assert shift is None or [row for row, _, _ in said] == [bad.row for bad in truths.MESSY_BAD_ROWS]
        assert (sheet.held, sheet.blanked) == (4, 4)
    # Without them both ways give the same.
    alike = tmp_path / "alike.csv"
    odd = ("ulcer + wart", "squishy")
    kept = [line for line in lines[2:] if not any(one in line for one in odd) and line.split(";")[2].strip()]
    alike.write_text("\n".join(kept) + "\n", encoding="utf-8", newline="")
    monkeypatch.setattr(streaming, "LARGEST_UNFOLDED", 60_000_000)
    assert _same(alike)


@settings(max_examples=tries(40), deadline=None, suppress_health_check=_SHARED)
@given(
    headings=st.lists(_HEADING, min_size=1, max_size=9),
    rows=st.lists(st.lists(_CELL, max_size=11), max_size=8),
    base=st.sampled_from(
        [
            ["date", "farm", "cow", "lesion"],
            ["date", "farm", "cow", "score"],
            ["farm", "cow", "birth_date", "calvings"],
            ["farm", "from", "housing"],
            ["date", "cow", "lesion", "foot"],
        ]
    ),
    titles=st.lists(st.sampled_from([["book of 2026"], [], ["", "date", "ulcer"]]), max_size=2),
    ending=st.sampled_from(["\n", "\n", "\r\n"]),
    encoding=st.sampled_from(["utf-8", "utf-8", "utf-8-sig", "utf-16", "utf-16-le"]),
    delimiter=st.sampled_from(",,;\t|"),
    day_first=st.sampled_from([None, True, False]),
    farm=st.sampled_from([None, "Elm"]),
)
def test_any_table(
    headings: list[str],
    rows: list[list[str]],
    base: list[str],
    titles: list[list[str]],
    ending: str,
    encoding: str,
    delimiter: str,
    day_first: bool | None,
    farm: str | None,
    tmp_path: Path,
) -> None:
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=delimiter, lineterminator=ending)
    writer.writerows([*titles, [*base, *headings], *rows])
    path = tmp_path / "any.csv"
    path.write_bytes(out.getvalue().encode(encoding, "replace"))
    _same(path, farm=farm, day_first=day_first)


@pytest.mark.parametrize(
    ("later", "hoped"),
    [
        (b"3,Elm,LH,wart\n", True),
        ("3,Ki\u00eb,LH,wart\n".encode(), True),
        ("3,Ki\u00eb,LH,wart\n".encode("cp1252"), False),
        (b"3,Elm,LH,wart\r\n2026-03-15,4,Elm,LH,wart\r\n", False),
        (b'3,Elm,"L"H,wart\n', False),
        (b"3,Elm,LH,wart\n\n2026-03-15,4,Elm,LH,wart\n", False),
        (b"3,Elm,LH,wart,more,and more\n", False),
        (b'3,Elm,"LH,wart\n', False),
        (b"3,Elm,LH,wart\x1a", False),
        (b"3,Elm,LH,%s\n" % (b"x" * 140_000), False),
    ],
    ids=["plain", "utf-8", "cp1252", "returns", "quote", "blank row", "broader", "unclosed", "old end", "long"],
)  # fmt: skip
@pytest.mark.parametrize("looked_first", [True, False], ids=["looked through first", "read first"])
def test_what_the_beginning_lets_hope_is_taken_back(
    later: bytes, hoped: bool, looked_first: bool, piece_size: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Looking:
        """In place of a thread of which nobody knows how quick it is."""

        def __init__(self, work: Callable[[], object]) -> None:
            self.done, self.result = looked_first, work

    sources: list[bool] = []
    surveyed = streaming._surveyed

    def noted(source: chunks.Source, *words: Any) -> Any:
        sources.append(source.sure)
        return surveyed(source, *words)

    monkeypatch.setattr(chunks, "submit", Looking)
    monkeypatch.setattr(streaming, "_surveyed", noted)
    monkeypatch.setattr(text_file, "HEAD", 200)
    path = tmp_path / "book.csv"
    # Letters are looked for in the first 64 kB; beyond that few rows will do.
    rows = 3000 if later.decode(errors="replace").count("\ufffd") else 300
    many = b"date,cow,farm,foot,lesion\n" + b"2026-03-14,7,Elm,LH,wart\n" * rows
    path.write_bytes(many + b"2026-03-15," + later)
    assert _same(path)
    assert sources == ([False] if hoped else [False, True])


@settings(max_examples=tries(40), deadline=None, suppress_health_check=_SHARED)
@given(
    body=st.lists(
        st.sampled_from(
            ["1,LH,ulcer", '2,"LH","wart"', '"3\n3",RH,SU', " 4 , LH ,DD", '5,"L""H",DD', "6,LH", "7", ",,", "",
             "  ", '8, "LH",DD', '9,"LH" ,DD', '"9"x,LH,DD', '10,x"y,DD', "11,LH,DD,more", "12,LH,caf\u00e9",
             '13,"', "cow,foot,lesion", "14,LH,x\x1a", "15\t,LH,DD", "'16,LH,'=x", '""', "17,LH,#DD"]
        ),
        max_size=9,
    ),
    ending=st.sampled_from(["\n", "\n", "\r\n", "\r"]),
    last=st.booleans(),
)  # fmt: skip
def test_odd_quotes_blanks_and_breadths(body: list[str], ending: str, last: bool, tmp_path: Path) -> None:
    lines = ["visit_date,farm,cow,foot,lesion", *(f"2026-03-14,Elm,{line}" if line.strip() else line for line in body)]
    path = tmp_path / "odd.csv"
    path.write_text(ending.join(lines) + (ending if last else ""), encoding="utf-8", newline="")
    _same(path)


@settings(max_examples=tries(20), deadline=None, suppress_health_check=_SHARED)
@given(
    rows=st.lists(st.tuples(st.sampled_from(["Elm", "elm ", "Ash"]), st.sampled_from(["", "0", "1", "4", "9"]),
                            st.sampled_from(["", "0-3", "1-5"]), st.sampled_from(["High", "high", " HIGH", "dry", ""]),
                            st.sampled_from(["3/4/2026", "14/4/2026", "4/14/2026", "2026-05-01", "soon"])),
                  min_size=1, max_size=40),
)  # fmt: skip
def test_what_one_row_says_of_another_is_kept_over_the_seams(
    rows: list[tuple[str, ...]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(chunks, "ROWS_A_PIECE", 3)
    lines = ["visit_date;farm;cow;group;lesion;score;scale"]
    lines += [f"{day};{farm};{n};{group};ok;{score};{scale}" for n, (farm, score, scale, group, day) in enumerate(rows)]
    path = tmp_path / "seams.csv"
    path.write_bytes("\r\n".join(lines).encode())
    one = _in_one(path)
    # Dates that can be read both ways are asked about, by the reader of whole files.
    asked = isinstance(one, str) and "day first or the month first" in one
    assert _same(path) is not asked


def test_what_a_large_file_leaves_open_is_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "open.csv"
    for text, said in (
        ("date,farm,cow,lesion\n3/4/2026,Elm,1,ulcer\n", "--day-first"),
        ("date,cow,lesion\n2026-03-14,1,ulcer\n", "--farm"),
    ):
        path.write_text(text)
        assert check_stream(path, path.name, big_from=0) is None
        with monkeypatch.context() as patch, pytest.raises(UserError, match=said):
            patch.setattr(streaming, "LARGEST_UNFOLDED", 0)
            check_stream(path, path.name, big_from=0)
    path.write_text("date,farm,cow,LF,RF\n2026-03-14,Elm,1,ulcer,\n")
    assert check_stream(path, path.name, big_from=0) is None
    monkeypatch.setattr(streaming, "LARGEST_UNFOLDED", 0)
    assert check_stream(path, path.name, big_from=0) is None


def test_parquet(piece_size: None, tmp_path: Path) -> None:
    (sheet,) = check_file(next(p for p in sample_data.FILES if "nether" in p.stem), "x.csv", today=TODAY)
    table = pa.Table.from_pandas(sheet.records.drop(columns="row").head(60), preserve_index=False)
    path = tmp_path / "trims.parquet"
    pq.write_table(table, path)
    assert _same(path)
    path.write_bytes(path.read_bytes()[:-200] + b"x" * 200)
    assert _same(path)


def test_what_is_only_read_whole(tmp_path: Path) -> None:
    path = tmp_path / "book.json"
    path.write_text('[{"date": "2026-03-14", "farm": "Elm", "cow": 1, "lesion": "ulcer"}]')
    assert check_stream(path, path.name, big_from=0) is None
    path = tmp_path / "small.csv"
    path.write_text("date,farm,cow,lesion\n2026-03-14,Elm,1,ulcer\n")
    assert check_stream(path, path.name) is None
    assert check_stream(tmp_path / "none.csv", "none.csv") is None
    two = tmp_path / "two.csv"
    one = "date,farm,cow,lesion,evenfoot_row,evenfoot_problem,evenfoot_remedy\n2026-03-14,Elm,1,ulcer,1,x,y\n"
    two.write_text(one + "\n" + one)
    assert check_stream(two, two.name, big_from=0) is None


def test_no_room_between_the_readings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Full(io.BytesIO):
        def write(self, _data: object) -> int:
            raise OSError(errno.ENOSPC, "No space left on device")

    path = tmp_path / "book.csv"
    path.write_text("date,farm,cow,lesion\n2026-03-14,Elm,1,ulcer\n")
    monkeypatch.setattr(dictionary_encoding.tempfile, "TemporaryFile", lambda **_words: Full())
    with pytest.raises(UserError, match=r"no room in .* to read book\.csv \(No space left"):
        check_stream(path, path.name, big_from=0)


def test_no_text(tmp_path: Path) -> None:
    path = tmp_path / "bad.csv"
    for content in (
        b"date,farm,cow\n\x00\x00\x00",
        b"\x01\x02\x03" * 50,
        b"\xef\xbb\xbfdate,\xff\xfe",
        b"a,b\n\x81\x8d",
    ):
        path.write_bytes(content)
        with pytest.raises(UserError, match=r"bad\.csv"):
            check_stream(path, path.name, big_from=0)


@pytest.mark.filterwarnings("error")
def test_the_file_of_the_codes_is_closed_with_them() -> None:
    """Else the system says at some later moment that a file was left open."""
    stash = dictionary_encoding.SpillFile("sheet.csv")
    file = stash._file
    del stash
    gc.collect()
    assert file.closed
