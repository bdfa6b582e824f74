"""A finished English sentence taken apart again: its template, and the values that stand in it.

Tables of measures hold finished sentences (why a cow is due, what a check of the records found), so that the
command prints them as they are. To say one in another language, the template it was made from is found again.
"""

from __future__ import annotations

import re
import string
from dataclasses import dataclass
from functools import cache, lru_cache

from evenfoot.dashboard.catalogue import catalogue

LEAST_LETTERS = 7
"""Letters outside the values that a template must have to be told from others. [common practice, no source]"""


SENTENCE_ENDS = re.compile(r"(?<=[.?!]) (?=[A-Z])")


COUNT = r"\d[\d,.]*"
"""What stands for ``{n}``, which is a count everywhere."""


@dataclass(frozen=True)
class Pattern:
    """A template as an expression that its sentences match, and its longest fixed part, which is looked for first."""

    template: str
    fixed: str
    letters: int
    expression: re.Pattern[str]


@lru_cache(maxsize=20_000)
def unfilled(sentence: str) -> tuple[str, dict[str, str]] | None:
    """The template and values of a sentence, the template with most fixed letters first; ``None`` if there is none.

    Examples
    --------
    >>> unfilled("Recheck asked for 2026-10-20")
    ('Recheck asked for {day}', {'day': '2026-10-20'})
    """
    for pattern in patterns():
        if pattern.fixed in sentence:
            found = pattern.expression.fullmatch(sentence)
            if found and not any(SENTENCE_ENDS.search(value) for value in found.groupdict().values()):
                return pattern.template, found.groupdict()
    return None


@cache
def patterns() -> tuple[Pattern, ...]:
    """The templates with values that say enough themselves to be known again."""
    made = (_pattern(template) for template in catalogue("es"))
    return tuple(sorted((each for each in made if each is not None), key=lambda each: -each.letters))


def _pattern(template: str) -> Pattern | None:
    fixed: list[str] = []
    expression, seen = "", set()
    for text, name, _spec, _conversion in string.Formatter().parse(template):
        fixed.append(text)
        expression += re.escape(text)
        if name:
            expression += f"(?P={name})" if name in seen else f"(?P<{name}>{COUNT if name == 'n' else '.+?'})"
            seen.add(name)
    letters = len(re.findall(r"\w", "".join(fixed)))
    if not seen or letters < LEAST_LETTERS:
        return None
    return Pattern(template, max(fixed, key=len), letters, re.compile(expression, re.DOTALL))
