"""The wheel, installed beside other packages that have the names of our folders; and one name for every module."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
PARTS = ("analytics", "dashboard", "sample_data")
OTHERS = ("analytics", "dashboard", "tests")
"""Names that other packages have."""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of packages: the wheel, and beside it packages that fail when they are imported."""
    place = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(place)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True)
    (wheel,) = place.glob("evenfoot-*.whl")
    with zipfile.ZipFile(wheel) as file:
        tops = {name.split("/")[0] for name in file.namelist()}
        assert {top for top in tops if not top.endswith(".dist-info")} == {"evenfoot"}
        file.extractall(place / "site")
    for name in OTHERS:
        other = place / "site" / name / "__init__.py"
        other.parent.mkdir()
        other.write_text(f"raise RuntimeError('the other package {name} was imported')\n")
    return place / "site"


def _run(site: Path, *words: str) -> str:
    environment = {**os.environ, "PYTHONPATH": str(site), "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, *words]
    done = subprocess.run(command, cwd=site.parent, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_the_program_runs_from_the_wheel_and_takes_nothing_from_its_neighbours(site: Path) -> None:
    (script,) = (line for line in _entry_points(site) if line.startswith("evenfoot ="))
    module, _, function = script.partition("=")[2].strip().partition(":")
    call = f"import sys; from {module} import {function}; sys.argv = ['evenfoot', '--help']; {function}()"
    for words in (("-c", call), ("-m", "evenfoot", "--help")):
        told = _run(site, *words)
        assert "herd lameness answers" in told and "import" in told
    where = _run(site, "-c", "import evenfoot.analytics.domain.lesions as it; print(it.__file__)")
    assert Path(where.strip()).is_relative_to(site)


def test_a_sheet_is_imported_and_counted_from_the_wheel(site: Path, tmp_path: Path) -> None:
    ledger = ("--ledger", str(tmp_path / "x.duckdb"))
    sheet = site / "evenfoot" / "sample_data" / "herds" / "long_heath_trims.csv"
    assert " 0 set aside" in _run(site, "-m", "evenfoot", "import", str(sheet), "--accept", *ledger)
    assert "Long Heath" in _run(site, "-m", "evenfoot", "table", "summary", *ledger)


def test_the_source_package_makes_the_same_wheel(site: Path, tmp_path: Path) -> None:
    build = [sys.executable, "-m", "hatchling", "build"]
    subprocess.run([*build, "-t", "sdist", "-d", str(tmp_path)], cwd=ROOT, check=True, capture_output=True)
    (source,) = tmp_path.glob("evenfoot-*.tar.gz")
    with tarfile.open(source) as file:
        file.extractall(tmp_path, filter="data")
    folder = tmp_path / source.name.removesuffix(".tar.gz")
    subprocess.run([*build, "-t", "wheel", "-d", str(tmp_path)], cwd=folder, check=True, capture_output=True)
    ((ours,), (theirs,)) = (place.glob("evenfoot-*.whl") for place in (site.parent, tmp_path))
    assert zipfile.ZipFile(theirs).namelist() == zipfile.ZipFile(ours).namelist()


def _entry_points(site: Path) -> list[str]:
    (file,) = site.glob("evenfoot-*.dist-info/entry_points.txt")
    return file.read_text().splitlines()


def test_a_checkout_without_symbolic_links_works(tmp_path: Path) -> None:
    (tmp_path / "evenfoot").mkdir()
    for name in ("__init__.py", "__main__.py"):
        (tmp_path / "evenfoot" / name).write_text((ROOT / "evenfoot" / name).read_text())
    for part in PARTS:
        (tmp_path / "evenfoot" / part).write_text(f"../{part}")  # as git writes a link there
        (tmp_path / part).symlink_to(ROOT / part)
    found = _run(tmp_path, "-c", "import evenfoot.analytics.domain.units as it; print(it.__file__)")
    assert found.strip() == str(tmp_path / "analytics" / "domain" / "units.py")


def test_every_module_has_one_name() -> None:
    """Two names for one file would be two modules, whose classes are not the same."""
    assert sorted(name for name in sys.modules if name.split(".")[0] in PARTS) == []


def test_nothing_is_imported_by_the_name_of_a_folder() -> None:
    wrong = []
    for top in (*PARTS, "tests", "evenfoot"):
        for path in (ROOT / top).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
                names += [node.module or ""] if isinstance(node, ast.ImportFrom) and not node.level else []
                wrong += [f"{path}: {name}" for name in names if name.split(".")[0] in PARTS]
    assert wrong == []
