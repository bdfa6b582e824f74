"""A large file goes in piece by piece as a small one goes in whole, within a memory that does not grow with it."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenfoot import sample_data
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.checks.records import CheckedRows
from evenfoot.analytics.intake.large_files import chunks
from evenfoot.analytics.intake.large_files import stream as streaming
from evenfoot.analytics.intake.large_files.row_filter import ScreenedRows
from evenfoot.analytics.intake.large_files.stream import CheckedStream, check_stream
from evenfoot.analytics.ledger import Ledger, checksums, open_ledger
from evenfoot.analytics.ledger.imports import bulk, digests, record_stream
from evenfoot.analytics.ledger.imports.add import ImportResult, add_sheets, undo_import
from evenfoot.analytics.ledger.imports.bulk import add_stream
from evenfoot.analytics.ledger.schema import DERIVED_TABLES, ROW_TABLES, key_of
from tests.intake.books import whole_of
from tests.scale import ledgers

pytestmark = pytest.mark.long

TABLES = [*(name for name, _ in ROW_TABLES.values()), *DERIVED_TABLES, "set_aside", "seen_again"]


@pytest.fixture(autouse=True)
def small_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chunks, "ROWS_A_PIECE", 3000)
    monkeypatch.setattr(chunks, "BYTES_A_BLOCK", 100_000)
    monkeypatch.setattr(bulk, "ROWS_AT_A_TIME", 2000)
    # As of a file that is too large to be read whole for the sake of a few rows.
    monkeypatch.setattr(streaming, "LARGEST_UNFOLDED", 0)


def _stream(path: Path, ledger: Ledger) -> CheckedStream:
    stream = check_stream(path, path.name, known_farms=ledger.farms(), big_from=0)
    assert stream is not None
    return stream


def _both(tmp_path: Path, paths: list[Path]) -> tuple[Ledger, Ledger, list[tuple[ImportResult, ImportResult]]]:
    whole, piecewise = open_ledger(tmp_path / "whole.duckdb"), open_ledger(tmp_path / "pieces.duckdb")
    results = []
    for path in paths:
        sheets = [whole_of(_stream(path, whole))]
        planned = add_stream(piecewise, _stream(path, piecewise), path.name, "1", dry_run=True)
        one = add_sheets(whole, sheets, path.name, "1")
        other = add_stream(piecewise, _stream(path, piecewise), path.name, "1")
        assert (planned.read, planned.added, planned.already_known, planned.set_aside) == (
            other.read, other.added, other.already_known, other.set_aside,
        )  # fmt: skip
        results.append((one, other))
    return whole, piecewise, results


def _same(one: Ledger, other: Ledger) -> None:
    with one.reading() as cursor, other.reading() as cursor_too:
        for one_cursor in (cursor, cursor_too):
            assert checksums.kept(one_cursor) == {
                table: checksums.sum_of(one_cursor, table) for table in checksums.SUMMED
            }
    for name in TABLES:
        pd.testing.assert_frame_equal(
            one.frame(f"SELECT * FROM {name} ORDER BY ALL"), other.frame(f"SELECT * FROM {name} ORDER BY ALL")
        )


@pytest.fixture(scope="module")
def made_up(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two farms' sheets, and some rows of them once more."""
    path = tmp_path_factory.mktemp("sheet") / "two_farms.csv"
    table = pd.concat([piece.to_pandas() for piece in ledgers.batches(20_000) if len(piece)][:8])
    pd.concat([table, table.iloc[::50], table.iloc[:300]]).to_csv(path, index=False, lineterminator="\n")
    return path


@pytest.mark.parametrize("bits", [digests.MOST_BITS, 64])
def test_the_two_ways_in_make_the_same_ledger(
    bits: int, made_up: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # With so few bits nearly every row seems to have been met before, and has to be looked at again.
    monkeypatch.setattr(digests, "MOST_BITS", bits)
    register = next(path for path in sample_data.FILES if path.stem == "register")
    scores = next(path for path in sample_data.FILES if path.stem == "locomotion")
    larkmoor = next(path for path in sample_data.FILES if path.stem == "larkmoor_trims")
    herds = [larkmoor, scores] if bits > 64 else []
    whole, piecewise, results = _both(tmp_path, [register, made_up, *herds, made_up, sample_data.MESSY])
    for one, other in results:
        assert one == other
    assert results[1][0].already_known and results[1][0].set_aside
    assert results[-2][0].added == 0
    _same(whole, piecewise)
    for number in (2, 3):
        assert undo_import(whole, number) == undo_import(piecewise, number)
    _same(whole, piecewise)


def test_what_breaks_half_way_leaves_nothing(made_up: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ledger = open_ledger(tmp_path / "l.duckdb")
    add_stream(ledger, _stream(sample_data.MESSY, ledger), "messy.csv", "0")
    before = {name: ledger.frame(f"SELECT * FROM {name} ORDER BY ALL") for name in [*TABLES, "imports"]}
    stream = _stream(made_up, ledger)
    whole = stream.pieces

    def cut() -> Iterator[CheckedRows | ScreenedRows]:
        for number, piece in enumerate(whole()):
            if number == 2:
                raise UserError("The disk is full.")
            yield piece

    monkeypatch.setattr(stream, "pieces", cut)
    with pytest.raises(UserError, match="disk is full"):
        add_stream(ledger, stream, "cut.csv", "0")
    for name, table in before.items():
        pd.testing.assert_frame_equal(table, ledger.frame(f"SELECT * FROM {name} ORDER BY ALL"))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["l.duckdb"]


_MEASURED = """
import sys
from pathlib import Path
from evenfoot.analytics.intake.large_files import stream as streaming
from evenfoot.analytics.intake.large_files.stream import check_stream
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports import bulk
from tests.peak import peak_megabytes

small, large, place = map(Path, sys.argv[1:])
bulk.ROWS_AT_A_TIME //= 4
streaming.LARGEST_UNFOLDED = 0
ledger = open_ledger(place)
for path in (small, large):
    stream = check_stream(path, path.name, known_farms=ledger.farms(), big_from=0)
    bulk.add_stream(ledger, stream, path.name, "0", memory="150MB")
    print("peak", peak_megabytes())
"""


def test_memory_does_not_grow_with_the_file(tmp_path: Path) -> None:
    small, large = tmp_path / "small.csv", tmp_path / "large.csv"
    year = [piece.to_pandas() for piece in ledgers.batches(40_000)][:4]
    one = pd.concat(year)
    one.to_csv(small, index=False, lineterminator="\n")
    with large.open("w", newline="") as file:
        for turn in range(14):
            one.assign(cow="x" + str(turn) + "-" + one["cow"]).to_csv(
                file, index=False, header=not turn, lineterminator="\n"
            )
    out = subprocess.run(
        [sys.executable, "-c", _MEASURED, str(small), str(large), str(tmp_path / "l.duckdb")],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    first, second = (float(line.split()[1]) for line in out.stdout.splitlines() if line.startswith("peak"))
    # Fourteen times the rows may take room for fuller pieces and for what the engine is allowed, not for the file.
    assert second - first < 250, (first, second)
    assert second < 950, (first, second)


def test_digests_are_those_of_the_row_tables(made_up: Path) -> None:
    stream = check_stream(made_up, "x.csv", big_from=0)
    assert stream is not None
    _, fields = ROW_TABLES["trims"]
    coded, plain = record_stream.schemas(fields)
    piece = next(stream.pieces()).table(pa.schema(list(coded)[:-1]))
    with digests.Digests(fields) as working, duckdb.connect() as connection:
        keys, numbers = working.of(piece)
        rows = record_stream.decoded(piece, pa.schema(list(plain)[:-1]))
        found = connection.sql(f"SELECT {key_of(fields)} AS key, MD5_NUMBER_LOWER(key) AS number FROM rows").fetchall()
        assert rows.num_rows
    assert list(zip(keys.to_pylist(), numbers.tolist(), strict=True)) == found


@given(
    st.lists(st.integers(0, 2**64 - 1) | st.integers(0, 3), max_size=60),
    st.lists(st.integers(0, 2**64 - 1) | st.integers(0, 5), max_size=60),
)
def test_what_was_met_is_never_taken_for_new(first: list[int], second: list[int]) -> None:
    seen = digests.Seen(50)
    met: set[int] = set()
    for numbers in (first, second):
        new = seen.new(np.array(numbers, dtype=np.uint64))
        for number, is_new in zip(numbers, new.tolist(), strict=True):
            assert not (is_new and number in met)
            met.add(number)
