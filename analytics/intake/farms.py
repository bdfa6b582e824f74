"""One spelling a farm: case and spaces do not make another farm."""

from __future__ import annotations

from collections.abc import Sequence

from analytics.intake.sheet import Findings
from analytics.intake.vocabulary import read_text
from analytics.words import say


def farm_names(texts: Sequence[str | None], known: Sequence[str], findings: Findings) -> list[str | None]:
    """The farm each text names: as already known, else as first spelt in the file.

    Example
    -------
    >>> farm_names(["larkmoor ", "Dun  End", "DUN END", None], ["Larkmoor"], Findings())
    ['Larkmoor', 'Dun End', 'Dun End', None]
    """
    spelt = {key(farm): farm for farm in known}
    out: list[str | None] = []
    others: dict[str, list[str]] = {}
    for text in texts:
        if text is None:
            out.append(None)
            continue
        name = " ".join(read_text(text).split())
        farm = spelt.setdefault(key(name), name)
        if text != farm and text not in others.setdefault(farm, []):
            others[farm].append(text)
        out.append(farm)
    for farm, spellings in others.items():
        if spellings:
            shown = ", ".join(f"'{one}'" for one in spellings[:5])
            findings.notes.append(say("{spellings} was read as the farm {farm}.", spellings=shown, farm=farm))
    return out


def key(name: str) -> str:
    """What two spellings of one farm have in common."""
    return " ".join(name.split()).casefold()
