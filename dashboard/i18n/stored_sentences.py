"""Sentences that a ledger keeps finished, in English: why a row of a sheet was set aside, and what to do about it.

To say one in another language, the template it was made from is found again. Measures and pages hand on templates, so
that nothing else needs this.
"""

from __future__ import annotations

import re
import string
from dataclasses import dataclass
from functools import cache, lru_cache

from evenfoot.analytics.messages import Length
from evenfoot.dashboard.i18n.catalogue import catalogue
from evenfoot.dashboard.i18n.translation import told, words

LEAST_LETTERS = 7
"""Letters outside the values that a template must have to be told from others. [common practice, no source]"""


SENTENCE_ENDS = re.compile(r"(?<=[.?!]) (?=[A-Z])")


_LENGTH = re.compile(r"(\d+(?:\.\d+)?) mm")

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


def said_again(sentence: str) -> str:
    """A finished English sentence in the reader's language; as it stands where its template is not found.

    Examples
    --------
    >>> from evenfoot.dashboard.i18n.translation import Words, speaking
    >>> with speaking(Words("es")):
    ...     said_again("Correct it. Some other text.")
    'Corríjalo. Some other text.'
    """
    reader = words()
    if reader.language == "en" and reader.units == "mm":
        return sentence
    if sentence in catalogue(reader.language):
        return told(sentence)
    if (found := unfilled(sentence)) is not None:
        template, values = found
        return reader(template, **{name: _length(value) for name, value in values.items()})
    parts = SENTENCE_ENDS.split(sentence)
    return " ".join(said_again(part) for part in parts) if len(parts) > 1 else sentence


def _length(text: str) -> str | Length:
    found = _LENGTH.fullmatch(text)
    return Length(found[1]) if found else text
