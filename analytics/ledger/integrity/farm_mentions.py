"""Does a text name a farm? For what is kept beside the rows: file names, notes, rows set aside, answers, history."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from typing import Any

from evenfoot.analytics.intake.parsing.farm_names import key

SHORTEST_PART = 5
"""Letters of a name that is found inside longer words, too; a shorter one only as words of its own, or half of all
texts would name it. [common practice, no source]"""

_GAPS = re.compile(r"[\s_\-]+")


class FarmMentions:
    """Finds the texts that name one farm, whatever their case, spaces, hyphens and accents are stored as.

    Parameters
    ----------
    farm : str
    others : iterable of str
        Farms that are not meant. A longer name of theirs that has *farm* within it does not count; one that differs
        from it in case or spaces only is told from it letter for letter.

    Example
    -------
    >>> named = FarmMentions("Race Farm", ["Trace Farm"])
    >>> named.is_in("RACE  farm"), named.is_in("race-farm_march.csv"), named.is_in("Trace Farm"), named.is_in(None)
    (True, True, False, False)
    """

    def __init__(self, farm: str, others: Iterable[str] = ()) -> None:
        self.farm = farm
        self._letters = _letters(farm)
        different = [other for other in others if other != farm]
        self._twins = [other for other in different if _letters(other) == self._letters]
        longer = {_letters(other) for other in different} - {self._letters}
        self._longer = sorted((other for other in longer if self._letters in other), key=len, reverse=True)
        words = r"[\s_-]+".join(re.escape(part) for part in _GAPS.split(key(farm)) if part)
        self._words = re.compile(rf"(?<![^\W_]){words}(?![^\W_])")

    def is_it(self, name: str) -> bool:
        """Whether the name of a farm is that of the farm, in any case and spaces."""
        return name == self.farm or (key(name) == key(self.farm) and name not in self._twins)

    def is_in(self, text: object) -> bool:
        """Whether a text, or a text within it if it is JSON, names the farm."""
        return isinstance(text, str) and any(self._is_in(one) for one in (text, *_texts_within(text)))

    def _is_in(self, text: str) -> bool:
        if self.farm not in text and any(twin in text for twin in self._twins):
            return False
        if len(self._letters) < SHORTEST_PART:
            return self._words.search(key(text)) is not None
        letters = _letters(text)
        for other in self._longer:
            letters = letters.replace(other, " ")
        return self._letters in letters


def _letters(text: str) -> str:
    return _GAPS.sub("", key(text))


def _texts_within(text: str) -> Iterator[str]:
    """Every text in a JSON value; none in what is no JSON."""
    if not text.lstrip().startswith(("{", "[", '"')):
        return
    try:
        left: list[Any] = [json.loads(text)]
    except (ValueError, RecursionError):
        return
    while left:
        value = left.pop()
        if isinstance(value, str):
            yield value
        elif isinstance(value, dict):
            left += [*value, *value.values()]
        elif isinstance(value, list):
            left += value
