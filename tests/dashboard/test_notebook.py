"""Evenfoot asked from Python: the guide's examples run, and figures are those of the command."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

import evenfoot
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.catalogue import MEASURES, answer
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.notebook import CHARTS, Herds

GUIDE = Path(__file__).parents[2] / "docs" / "python.md"


@pytest.fixture
def herds(demo_ledger: Ledger) -> Herds:
    return Herds(demo_ledger.name)


def test_the_examples_of_the_guide_run(
    demo_ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copy(demo_ledger.name, tmp_path / "herds.duckdb")
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    for block in re.findall(r"```python\n(.*?)```", GUIDE.read_text("utf-8"), re.S):
        exec(block, names)
    said = capsys.readouterr().out
    assert "Larkmoor" in said and "cows," in said and "risk_ratio" in said
    assert (tmp_path / "lesions.html").stat().st_size > 1000


def test_a_method_is_the_measure_itself(herds: Herds, demo_ledger: Ledger) -> None:
    farm = herds.farms[0]
    found = herds.prevalence(by=["lesion", "foot"], farm=farm)
    expected = answer("prevalence", demo_ledger, Selection(farms=(farm,)), by=("lesion", "foot"))
    assert found.table.equals(expected.table) and found.basis == expected.basis
    assert found.cautions == [str(caution) for caution in expected.cautions]


def test_every_measure_is_a_method_and_every_chart_is_drawn(herds: Herds) -> None:
    assert {name.replace("-", "_") for name in MEASURES} <= set(dir(herds))
    for name in CHARTS:
        found = herds.ask(name, **({"by": "housing"} if name == "comparison" else {"farm": "Larkmoor"}))
        assert len(found.plot("A title").data) or found.answer.empty, name


def test_what_is_not_understood_is_said(herds: Herds) -> None:
    with pytest.raises(AttributeError, match="There is no measure 'luck'"):
        herds.luck()
    with pytest.raises(UserError, match="has no chart"):
        herds.quality().plot()
    with pytest.raises(UserError, match="does not take"):
        herds.quality(reference="x")


def test_the_package_opens_a_ledger(demo_ledger: Ledger) -> None:
    assert evenfoot.open(demo_ledger.name).farms == list(demo_ledger.farms())
