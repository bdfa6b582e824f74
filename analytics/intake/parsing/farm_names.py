"""One spelling a farm: case, spaces and how an accent is stored do not make another farm."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable, Sequence

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.parsing.vocabulary import read_text
from evenfoot.analytics.intake.sheet import Findings
from evenfoot.analytics.messages import say


def farm_names(texts: Sequence[str | None], known: Sequence[str], findings: Findings) -> list[str | None]:
    """The farm each text names: as already known, else as first spelt in the file.

    Example
    -------
    >>> farm_names(["larkmoor ", "Dun  End", "DUN END", None], ["Larkmoor"], Findings())
    ['Larkmoor', 'Dun End', 'Dun End', None]
    """
    find = farm_finder(known)
    spelt: dict[str, str] = {}
    out: list[str | None] = []
    others: dict[str, dict[str, None]] = {}
    for text in texts:
        if text is None:
            out.append(None)
            continue
        name = " ".join(read_text(text).split())
        farm = find(name) or spelt.setdefault(key(name), name)
        if text != farm:
            others.setdefault(farm, {})[text] = None
        out.append(farm)
    for farm, spellings in others.items():
        shown = ", ".join(f"'{one}'" for one in [*spellings][:5])
        findings.notes.append(say("{spellings} was read as the farm {farm}.", spellings=shown, farm=farm))
    return out


def farm_finder(known: Iterable[str]) -> Callable[[str], str | None]:
    """A function that finds a farm by its name among those that are known.

    The same name, letter for letter, comes first; then the one farm with the same :func:`key`; else ``None``.
    It raises a :class:`UserError` where several farms have that key and none has the name itself.

    Example
    -------
    >>> find = farm_finder(["Race Farm", "race farm", "Dun End"])
    >>> find("race farm"), find(" DUN  END"), find("Larkmoor")
    ('race farm', 'Dun End', None)
    """
    exact = set(known)
    alike: dict[str, list[str]] = {}
    for farm in sorted(exact):
        alike.setdefault(key(farm), []).append(farm)

    def find(name: str) -> str | None:
        if name in exact:
            return name
        found = alike.get(key(name), [])
        if len(found) > 1:
            listed = ", ".join(f"'{farm}'" for farm in found)
            raise UserError(
                say(
                    "The farm '{name}' may be any of {listed}; write the one that is meant letter for letter.",
                    name=name,
                    listed=listed,
                )
            )
        return found[0] if found else None

    return find


def key(name: str) -> str:
    """What two spellings of one farm have in common: its letters without case, single spaces, accents composed
    [pub: Unicode Standard Annex 15, form NFC].

    Example
    -------
    >>> key("Cafe\u0301  END") == key("caf\u00e9 End")
    True
    """
    plain = unicodedata.normalize("NFC", " ".join(name.split())).casefold()
    return unicodedata.normalize("NFC", plain)
