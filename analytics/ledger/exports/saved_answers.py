"""What was told once, as one JSON file that goes along with the records and back in: names, and answers for layouts."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.aliases import KINDS, add_alias, names_farm
from evenfoot.analytics.ledger.layout_answers import save_answers
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.messages import say

FILE = "remembered.json"


def remembered(cursor: Any, farms: Sequence[str] = ()) -> dict[str, list[dict[str, Any]]]:
    """What holds of the names and layouts of a ledger.

    Parameters
    ----------
    cursor : connection
    farms : sequence of str
        Only the names of these farms and of trimmers, and layouts without answers that name another farm.

    Returns
    -------
    dict
        ``names``: kind, farm, said, means. ``layouts``: name, headings, trimmer, answers.
    """
    names = cursor.execute(
        "SELECT kind, farm, said, means FROM aliases WHERE taken_back_at IS NULL ORDER BY created_at, kind, said"
    ).fetchall()
    kept = cursor.execute("SELECT name, headings, trimmer, answers FROM layouts ORDER BY layout_no").fetchall()
    others: list[str] = []
    if farms:
        names = [line for line in names if line[1] is None or line[1] in farms]
        found = cursor.execute("SELECT DISTINCT farm FROM cows").fetchall()
        others = [farm for (farm,) in found if farm not in farms]
    layouts = [
        {
            "name": name,
            "headings": json.loads(headings),
            "trimmer": trimmer,
            "answers": {
                question: value
                for question, value in json.loads(answers).items()
                if not any(names_farm(f"{question} {value}", farm) for farm in others)
            },
        }
        for name, headings, trimmer, answers in kept
        if not any(names_farm(f"{name} {' '.join(json.loads(headings))}", farm) for farm in others)
    ]
    return {
        "names": [dict(zip(("kind", "farm", "said", "means"), line, strict=True)) for line in names],
        "layouts": layouts,
    }


def write_remembered(cursor: Any, folder: Path, farms: Sequence[str] = ()) -> int:
    """Write the file into a folder; how many names and layouts it holds, and no file where there are none."""
    told = remembered(cursor, farms)
    lines = sum(len(part) for part in told.values())
    if lines:
        (folder / FILE).write_text(json.dumps(told, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    return lines


def is_remembered(content: bytes) -> bool:
    """Whether a file's content is such a file."""
    try:
        _parts(content)
    except UserError:
        return False
    return True


def take_remembered(ledger: Ledger, content: bytes) -> tuple[int, int]:
    """Take what a file holds into a ledger; what the file says holds from now on.

    Returns
    -------
    tuple of int
        How many names and layouts the file holds.

    Raises
    ------
    UserError
        It is no such file.
    """
    names, layouts = _parts(content)
    for line in names:
        add_alias(ledger, line["kind"], line["said"], line["means"], line["farm"])
    for line in layouts:
        save_answers(ledger, line["name"], line["headings"], line["trimmer"], line["answers"])
    return len(names), len(layouts)


def _parts(content: bytes) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    wrong = UserError(
        say("{file} does not hold names and layouts as an export writes them; export them anew.", file=FILE)
    )
    try:
        told = json.loads(content)
    except (ValueError, RecursionError):
        raise wrong from None
    if not isinstance(told, dict) or set(told) != {"names", "layouts"}:
        raise wrong
    names, layouts = told["names"], told["layouts"]
    if not isinstance(names, list) or not isinstance(layouts, list):
        raise wrong
    if not all(isinstance(line, dict) and _is_name(line) for line in names):
        raise wrong
    if not all(isinstance(line, dict) and _is_layout(line) for line in layouts):
        raise wrong
    return names, layouts


def _is_name(line: dict[str, Any]) -> bool:
    texts = line.get("kind"), line.get("said"), line.get("means")
    farm = line.get("farm")
    whole = all(isinstance(text, str) and text.strip() for text in texts) and isinstance(farm, str | None)
    return whole and line["kind"] in KINDS and "farm" in line and (line["kind"] != "cow" or bool(farm))


def _is_layout(line: dict[str, Any]) -> bool:
    headings = line.get("headings")
    return (
        isinstance(line.get("name"), str)
        and isinstance(line.get("trimmer"), str | None)
        and "trimmer" in line
        and isinstance(line.get("answers"), dict)
        and isinstance(headings, list)
        and all(isinstance(heading, str) for heading in headings)
        and any(character.isalpha() for heading in headings for character in heading)
    )
