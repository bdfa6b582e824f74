"""Templates of sentences, filled with values that are written in one language."""

from __future__ import annotations

import functools
import string
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from evenfoot.dashboard.i18n.translation import Words

DATA = frozenset({"farm", "farms", "cow", "group", "groups", "trimmer", "sire", "breed", "scorer", "name", "path"})
"""Values that are somebody's own words and are left as they are, even where a catalogue knows the word."""


class Own(str):
    """Somebody's own words: never said in another language."""


@functools.lru_cache(maxsize=4096)
def _pieces(template: str) -> tuple[tuple[str | None, str], ...] | None:
    """A template taken apart: text as (None, text), a plain name as (name, how it is written); None where it is more.

    A page says a thousand sentences of some dozens of templates.
    """
    out: list[tuple[str | None, str]] = []
    for text, name, spec, conversion in string.Formatter().parse(template):
        out += [(None, text)] if text else []
        if name is None:
            continue
        if not name.isidentifier() or conversion or "{" in (spec or ""):
            return None
        out.append((name, spec or ""))
    return tuple(out)


class Filling(string.Formatter):
    """Fills templates with values as *language* writes them; *known* says values too that it has words for."""

    def __init__(self, language: Words, known: bool) -> None:
        self.language, self.known = language, known

    def fill(self, template: str, values: dict[str, Any]) -> str:
        """The template with its values."""
        pieces = _pieces(template)
        if pieces is None:
            return self.vformat(template, (), values)
        filled = (
            part if name is None else self.format_field(self._whose(name, values[name]), part) for name, part in pieces
        )
        return "".join(filled)

    def format_field(self, value: Any, format_spec: str) -> str:
        return self.language.formatted(value, format_spec) if format_spec else self.language.value(value)

    def get_field(self, field_name: str, args: Any, kwargs: Any) -> Any:
        value, used = super().get_field(field_name, args, kwargs)
        return self._whose(field_name, value), used

    def _whose(self, name: str, value: Any) -> Any:
        own = type(value) is str and (not self.known or name in DATA)
        return Own(value) if own else value
