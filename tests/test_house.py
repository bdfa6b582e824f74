"""The project itself: folders import only folders to their left, nothing is fetched, guides stay short."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


def test_data_walks_one_way() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command; lint_imports_command()"],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("name", ["requirements.lock", "requirements-dev.lock"])
def test_a_lock_file_is_hashed_and_names_no_address(name: str) -> None:
    text = (ROOT / name).read_text()
    names = re.findall(r"^[a-z0-9][\w.-]*==\S+", text, re.M)
    assert len(names) > 50
    for block in re.split(r"\n(?=[a-z0-9])", text):
        if "==" in block.split("\n")[0]:
            assert "--hash=sha256:" in block, block.split("\n")[0]
    assert "http" not in text and "index-url" not in text


def test_tools_come_with_the_versions_that_run() -> None:
    """The lock of contributors holds all of the lock of users, in the same versions."""
    pinned = [
        set(re.findall(r"^[a-z0-9][\w.-]*==[^\s;\\]+", (ROOT / name).read_text(), re.M))
        for name in ("requirements.lock", "requirements-dev.lock")
    ]
    assert pinned[0] < pinned[1]


def test_pages_fetch_nothing_from_elsewhere() -> None:
    """Style sheets and scripts of ours name no other host: the dashboard works with no internet."""
    for path in (ROOT / "dashboard").rglob("*"):
        # Two libraries name addresses that they never ask for; the content security policy would refuse them.
        kept = path.name in ("plotly-basic.min.js", "dexie.min.js")
        if path.suffix in (".css", ".js", ".py") and not kept:
            assert not re.search(r"https?://(?!127\.0\.0\.1|\{|www\.w3\.org)", path.read_text()), path


def test_a_page_file_stays_small_enough_to_read_at_a_sitting() -> None:
    sizes = {path.name: len(path.read_text().splitlines()) for path in (ROOT / "dashboard" / "pages").glob("*.py")}
    assert len(sizes) > 15
    assert not {name: lines for name, lines in sizes.items() if lines > 250}


def test_guides_are_short_and_their_links_lead_somewhere() -> None:
    assert len((ROOT / "README.md").read_bytes()) < 8_000
    assert len((ROOT / "DEVELOPERS.md").read_bytes()) < 12_000
    guides = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "tests" / "README.md", *(ROOT / "docs").glob("*.md")]
    assert len(guides) > 8
    for guide in guides:
        for link in re.findall(r"\]\(([^)#]+)", guide.read_text(encoding="utf-8")):
            assert link.startswith("http") or (guide.parent / link).exists(), (guide.name, link)
