"""A dropped sheet is read and compared with the ledger in a process of its own, whatever it makes that do."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest

from evenfoot.analytics import worker_process
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, limited_import, open_ledger
from evenfoot.analytics.ledger.imports import add, file_import, revisions
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.imports.file_import import prepare_import, run_import
from evenfoot.analytics.ledger.limited_import import prepare_limited
from evenfoot.dashboard.pages.imports_rights import prepared_for_viewer
from tests.ledger.storing import SHEETS, make

pytestmark = pytest.mark.long

CHANGED = SHEETS["trims.csv"].replace("SU,2,3", "SU,3,3").replace("Alder,KV", "alder,KV").encode()


def everything(_: object) -> None:
    """Lets everybody bring everything in."""


def prepared(ledger: Ledger, source: bytes, given: Mapping[str, str] | None = None) -> object:
    return prepare_limited(
        ledger, source, "trims.csv", given=given or {}, accept=False, farms=None, screen=everything, count=True
    )


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return make(tmp_path / "ledger.duckdb")


def test_what_is_found_is_the_same_as_without_limits(ledger: Ledger) -> None:
    here, counted = prepare_limited(
        ledger, CHANGED, "trims.csv", given={}, accept=False, farms=None, screen=everything, count=True
    )
    alone = prepare_import(ledger, CHANGED, "trims.csv")
    assert here.revision is not None and alone.revision is not None
    assert here.revision.is_open and here.revision.counts == alone.revision.counts
    assert here.revision.frame.to_csv() == alone.revision.frame.to_csv()
    assert list(here.answers.met) == list(alone.answers.met) and here.names == alone.names
    assert [sheet.records.to_csv() for sheet in here.sheets] == [sheet.records.to_csv() for sheet in alone.sheets]
    assert counted == add_sheets(
        ledger, alone.sheets, "trims.csv", "", revision_choice=alone.revision_choice, dry_run=True
    )
    given = {question.id: question.default or "" for question in here.answers.blocking()} | {"same-visits": "replace"}
    here, _ = prepare_limited(
        ledger, CHANGED, "trims.csv", given=given, accept=False, farms=None, screen=everything, count=False
    )
    assert here.revision is not None
    assert run_import(ledger, here, "0" * 64).replaced == here.revision.counts["differs"] > 0


def test_the_server_itself_compares_nothing(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    """What asks the ledger about a sheet is made to fail in this process: another one does it."""

    def here(*_: object, **__: object) -> None:
        raise AssertionError("This was asked in the process of the server.")

    for module, name in (
        (file_import, "compare_with_ledger"),
        (file_import, "similar_farms"),
        (file_import, "similar_cows"),
        (file_import, "rest_question"),
        (add, "compare_sheets"),
        (revisions, "compare_staged"),
    ):
        monkeypatch.setattr(module, name, here)
    found, counted = prepared_for_viewer(ledger, CHANGED, "trims.csv", {}, count=True)
    assert found.revision is not None and counted is not None and counted.added


def test_a_farm_that_was_not_granted_is_refused_before_anything_is_looked_up(ledger: Ledger) -> None:
    asked = []

    def refuse(farms: Mapping[str, Sequence[str | None]]) -> None:
        asked.append(farms)
        raise UserError("Not yours.")

    with pytest.raises(UserError, match="Not yours"):
        prepare_limited(
            ledger, CHANGED, "trims.csv", given={}, accept=False, farms=["Alder"], screen=refuse, count=True
        )
    assert [(kind, sorted(map(str, farms))) for kind, farms in asked[0].items()] == [("trims", ["Alder", "Birch"])]


@pytest.mark.skipif(os.name == "nt", reason="only the clock holds there")
def test_a_comparison_that_takes_too_long_ends(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    """The ledger is held by somebody for longer than the work may take."""
    prepared(ledger, CHANGED)
    monkeypatch.setattr(worker_process, "SECONDS", 1)
    with ledger.writing(), pytest.raises(UserError, match=worker_process.TOO_LONG):
        prepared(ledger, CHANGED)
    with pytest.raises(UserError, match="no headings"):
        prepared(ledger, b"a,b\n1,2\n")


def test_a_ledger_that_no_other_process_opens_compares_few_records(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limited_import, "OPENED_AT_ONCE", ())
    assert prepared(ledger, CHANGED)
    monkeypatch.setattr(limited_import, "MOST_RECORDS", 5)
    with pytest.raises(UserError, match=r"trims\.csv has 6 records, and a page compares 5 at most"):
        prepared(ledger, CHANGED)


def test_a_first_sheet_makes_no_ledger_before_it_is_added(tmp_path: Path) -> None:
    ledger = open_ledger(str(tmp_path / "none.duckdb"))
    assert prepared(ledger, CHANGED)
    assert list(tmp_path.iterdir()) == []
