"""Reading a sheet is the inverse of laying it out: known records come back from every layout and language."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any
from zlib import crc32

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings

from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import understand_file
from tests.effort import tries
from tests.intake.laying_out import CASES, TODAY, Hand, Laid, Record, sheets

FIELDS = (
    "visit_date", "farm", "cow", "foot", "claw", "zone", "lesion", "dd_stage", "severity", "action", "locomotion_score",
    "toe_length_mm", "toe_length_after_mm", "locomotion_scale", "trimmer", "herd_size", "group",
)  # fmt: skip
SCORE_FIELDS = {"visit_date": "date", "locomotion_score": "score", "locomotion_scale": "scale"}
EXAMPLES = tries(3)
SHEETS = 150


def records_of(found: list[CheckedSheet]) -> list[Record]:
    """What was read, without blank fields; a score as a record of its cow and day."""
    out = []
    for sheet in found:
        for row in sheet.records.astype(object).where(sheet.records.notna(), None).to_dict("records"):
            record: dict[str, Any] = {str(name): value for name, value in row.items()}
            if sheet.kind == "locomotion":
                record |= {name: row[of] for name, of in SCORE_FIELDS.items()}
            record["visit_date"] = str(record["visit_date"])[:10]
            record["lesion"] = record.get("lesion_detail") or record.get("lesion")
            out.append({name: record[name] for name in FIELDS if record.get(name) is not None})
    return out


def _counted(records: list[Record]) -> Counter[tuple[tuple[str, str], ...]]:
    return Counter(
        tuple((name, f"{record[name]:g}" if isinstance(record[name], float) else str(record[name]))
              for name in FIELDS if name in record)
        for record in records
    )  # fmt: skip


@pytest.mark.parametrize(("layout", "language"), CASES, ids=lambda one: getattr(one, "__name__", one))
def test_laid_out_records_come_back(layout: Callable[[Hand], Laid], language: str) -> None:
    @seed(crc32(f"{layout.__name__} {language}".encode()))
    @settings(max_examples=EXAMPLES, database=None, suppress_health_check=list(HealthCheck))
    @given(laid=sheets(layout, language))
    def read(laid: Laid) -> None:
        found = understand_file(laid.data, laid.name, today=TODAY, answers=Answers(accept=True))
        if laid.asks:
            asked = [one for one in found.answers.met.values() if one.id.startswith(laid.asks)]
            assert asked and not all(one.safe for one in asked), f"not asked\n{laid.shown}"
        if not laid.asks or laid.records:
            got, wanted = _counted(records_of(found.sheets)), _counted(laid.records)
            assert got == wanted, (
                f"{laid.shown}\nmissing {list(wanted - got)}\nextra {list(got - wanted)}\n"
                f"asked {[(one.id, one.default) for one in found.answers.met.values()]}"
            )
            assert sum(sheet.held for sheet in found.sheets) == 0

    read()


def test_sheets_are_many_and_distinct() -> None:
    seen: set[bytes] = set()
    for layout, language in CASES:

        @settings(max_examples=1, phases=(Phase.generate,), database=None, suppress_health_check=list(HealthCheck))
        @given(laid=sheets(layout, language))
        def lay(laid: Laid) -> None:
            seen.add(laid.data)

        lay()
    assert len(seen) >= SHEETS
