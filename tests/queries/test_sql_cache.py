"""SQL is kept from one run to the next: the same as built anew, of this source alone, and naming nobody."""

import datetime as dt
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from evenfoot.analytics.domain.horn_limits import HornException, HornLimits
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.catalogue import answer
from evenfoot.analytics.queries import counts, sql_cache
from evenfoot.analytics.queries.cows import one_cow
from evenfoot.analytics.queries.engine import STAND_INS, THE_COW, THE_FARM, Question, for_any_farm
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.queries.sql_cache import SqlCache, key_of

ARGUMENTS = ((), (), (), "cow", "farm")


def _key(selection: Selection, *options: object) -> str | None:
    return key_of(counts._questions, for_any_farm(selection), options, {}, STAND_INS)


def test_a_second_run_reads_what_the_first_wrote(tmp_path: Path) -> None:
    first = SqlCache(tmp_path)
    first.put("a", "SELECT 'ü'")
    first.put("a", "SELECT 2")
    second = SqlCache(tmp_path)
    assert second.get("a") == "SELECT 'ü'" and second.get("b") is None
    second.put("b", "SELECT 3")
    assert SqlCache(tmp_path).get("b") == "SELECT 3"


@pytest.mark.parametrize("cut", range(1, 60, 7))
def test_half_a_line_is_not_believed_and_harms_no_other(tmp_path: Path, cut: int) -> None:
    SqlCache(tmp_path).put("a", "SELECT 1")
    SqlCache(tmp_path).put("b", "SELECT 2")
    [file] = tmp_path.iterdir()
    whole = file.read_bytes()
    file.write_bytes(whole[:-cut] if cut < 30 else whole.replace(b"SELECT 2", b"SELECT 7"))
    torn = SqlCache(tmp_path)
    assert torn.get("a") == "SELECT 1" and torn.get("b") in (None, "SELECT 2")
    torn.put("c", "SELECT 3")
    assert SqlCache(tmp_path).get("c") == "SELECT 3" and SqlCache(tmp_path).get("a") == "SELECT 1"


def test_after_a_change_of_the_source_nothing_is_believed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    SqlCache(tmp_path).put("a", "SELECT 1")
    source = tmp_path / "analytics"
    shutil.copytree(Path(sql_cache.__file__).parent.parent, source, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(sql_cache, "__file__", str(source / "queries" / "sql_cache.py"))
    assert SqlCache(tmp_path).get("a") == "SELECT 1"
    changed = source / "queries" / "counts.py"
    changed.write_text(changed.read_text() + " ")
    assert SqlCache(tmp_path).get("a") is None


def test_old_states_are_dropped_and_room_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(6):
        old = tmp_path / f"questions-{number}.txt"
        old.write_text("")
        os.utime(old, (number, number))
    monkeypatch.setattr(sql_cache, "MOST_BYTES", 300)
    kept = SqlCache(tmp_path)
    for number in range(20):
        kept.put(f"key {number}", "SELECT 1")
    assert sum(file.stat().st_size for file in tmp_path.iterdir()) <= 300
    assert kept.get("key 0") and kept.get("key 19") is None
    assert len(list(tmp_path.iterdir())) == sql_cache.STATES


def test_a_place_that_cannot_be_written_costs_nothing_but_time(tmp_path: Path) -> None:
    place = tmp_path / "a file"
    place.write_text("")
    kept = SqlCache(place)
    kept.put("a", "SELECT 1")
    assert kept.get("a") == "SELECT 1"
    SqlCache(None).put("a", "SELECT 1")


def test_only_what_names_nobody_has_a_key() -> None:
    assert _key(Selection())
    assert _key(Selection(farms=("Ash",))) == _key(Selection(farms=("Birch",), allowed=("Birch", "Ash")))
    assert _key(Selection(farms=("Ash",), cows=("7",))) == _key(Selection(farms=("Birch",), cows=("8",)))
    assert _key(Selection(lesions=("SU",), since=dt.date(2026, 1, 1)), ("month",), "cow", 90, HornLimits())
    for named in (
        Selection(farms=("Ash", "Birch")),
        Selection(allowed=("Ash",)),
        Selection(farms=("Ash",), allowed=("Birch",)),
        Selection(cows=("7", "8")),
        Selection(groups=("dry",)),
        Selection(trimmers=("KV",)),
        Selection(sires=("Bull",)),
        Selection(breeds=("Jersey",)),
    ):
        assert _key(named) is None
    assert _key(Selection(), HornLimits(exceptions=(HornException(farm="Ash", long_toe_mm=70),))) is None
    assert _key(Selection(), object()) is None
    assert key_of(test_only_what_names_nobody_has_a_key, Selection(), (), {}, STAND_INS) is None


@pytest.mark.parametrize("field", ["lesions", "families", "housing", "floor", "seasons", "parity", "feet", "claws"])
def test_no_text_of_an_address_is_kept(field: str) -> None:
    assert _key(Selection(**{field: ("Nora Vale, 7 Mill Lane",)})) is None  # type: ignore[arg-type]
    assert _key(Selection(), ("Nora Vale",)) is None and _key(Selection(), "Nora Vale") is None
    key = _key(Selection(lesions=("SU",), parity=("3+",)))
    assert key and "SU" not in key


def test_the_file_is_this_users_alone_and_links_are_not_followed(tmp_path: Path) -> None:
    place = tmp_path / "kept"
    SqlCache(place).put("a", "SELECT 1")
    [file] = place.iterdir()
    assert file.stat().st_mode & 0o777 == 0o600 and place.stat().st_mode & 0o777 == 0o700
    assert SqlCache(place).get("a") == "SELECT 1"
    for shared in (0o660, 0o604):
        file.chmod(shared)
        assert SqlCache(place).get("a") is None
        SqlCache(place).put("b", "SELECT 2")
        file.chmod(0o600)
        assert SqlCache(place).get("b") is None
    place.chmod(0o777)
    assert SqlCache(place).get("a") is None
    place.chmod(0o700)
    target = file.rename(tmp_path / "target")
    file.symlink_to(target)
    before = target.read_bytes()
    assert SqlCache(place).get("a") is None
    SqlCache(place).put("c", "SELECT 3")
    assert target.read_bytes() == before


def test_farm_and_cow_are_put_in_at_once() -> None:
    from evenfoot.analytics.queries.cows import _everything_of

    text = _everything_of(Selection(farms=(THE_COW,), cows=("O'Dell",), visits=("all",)))["trims"].sql()
    assert f"'{THE_COW}'" in text and "'O''Dell'" in text and THE_FARM not in text


def test_measures_say_the_same_from_what_was_kept_and_no_name_is_on_disk(demo_ledger: Ledger, tmp_path: Path) -> None:
    """In processes of their own: one builds all questions, the next is to build none of them."""
    said = []
    for _ in range(2):
        run = subprocess.run(
            [sys.executable, "-c", _ASKING, demo_ledger.engine.address],
            env={**os.environ, "XDG_CACHE_HOME": str(tmp_path)},
            capture_output=True,
            text=True,
            check=True,
        )
        said.append(json.loads(run.stdout))
    assert said[0]["answers"] == said[1]["answers"] and len(said[0]["answers"]) == 9
    assert said[0]["loaded"] and not said[1]["loaded"], "Ibis was loaded though every question was known"
    kept = b"".join(file.read_bytes() for file in tmp_path.rglob("*.txt"))
    assert len(kept) > 50_000
    names = said[0]["names"]
    assert len(names) > 20 and not [name for name in names if name.encode() in kept]


_ASKING = f"""
import json, sys
from evenfoot.analytics.ledger import open_ledger
from {__name__.rpartition(".")[0]}.test_sql_cache import asked
print(json.dumps(asked(open_ledger(sys.argv[1]))))
"""


def asked(ledger: Ledger) -> dict[str, object]:
    """Answers on one farm and the records of one cow, as text; run in a process of its own."""
    one = Selection(farms=("Larkmoor",), allowed=("Larkmoor", "Osier End"))
    answers = {}
    for name in ("prevalence", "locomotion", "comparison", "incidence", "horn", "quality", "worklist", "visit-review"):
        answers[name] = answer(name, ledger, one).table.to_csv(float_format="%.10g")
    frames = one_cow(ledger, "Larkmoor", "1022")
    answers["cow"] = frames["trims"].to_csv()
    loaded = "ibis" in sys.modules
    rows = frames["trim_rows"]
    people = [str(person) for person in rows["trimmer"].dropna().unique() if len(str(person)) > 3]
    names = [*ledger.farms(), *people, *(f"'{cow}'" for cow in _cows(ledger))]
    return {"answers": answers, "loaded": loaded, "names": names}


def _cows(ledger: Ledger) -> list[str]:
    from evenfoot.analytics.queries.cows import cow_names

    return cow_names(ledger, "Larkmoor")[:60]


def test_a_question_from_disk_can_still_be_asked_through_ibis(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from evenfoot.analytics.queries import engine

    def built() -> dict[str, Question]:
        # The function's own memory is left out, as in a new process.
        engine_kept = engine.built_once(counts._questions.__wrapped__)
        return engine_kept(Selection(farms=("Ash",)), *ARGUMENTS)  # type: ignore[return-value]

    first = SqlCache(tmp_path)
    monkeypatch.setattr(engine, "sql_cache", lambda: first)
    anew = {name: (question.sql(), question.bound()) for name, question in built().items()}
    second = SqlCache(tmp_path)
    monkeypatch.setattr(engine, "sql_cache", lambda: second)
    known = built()
    for name, (text, bound) in anew.items():
        assert known[name].texts._expression is None
        assert known[name].sql() == text
        assert known[name].bound().equals(bound)
