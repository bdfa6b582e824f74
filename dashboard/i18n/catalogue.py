"""The catalogue of what Evenfoot says: one gettext file a language other than English, read at first use."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from evenfoot.analytics.errors import UserError

LOCALE = Path(__file__).with_name("locale")
DOMAIN = "evenfoot"

LANGUAGES = {"en": "English", "es": "Español"}
"""Language -> its name in itself."""

TRANSLATED = tuple(language for language in LANGUAGES if language != "en")
"""Languages that have a file. English is what the code says, so it needs none."""

CONTEXT = "\x04"
"""Stands between what a word is said of and the word, where one English word has two meanings."""


@cache
def catalogue(language: str) -> dict[str, str]:
    """English template -> template in a language, as its file has it; nothing for English, which the code says.

    Read as text at first use (a tenth of a second), so that no compiled copy can lag behind the file that is
    edited.

    Raises
    ------
    UserError
        There is no such language.

    Examples
    --------
    >>> catalogue("es")["sole ulcer"]
    'úlcera de suela'
    """
    if language not in LANGUAGES:
        raise UserError(f"There is no language '{language}' here; use one of {', '.join(LANGUAGES)}.")
    if language not in TRANSLATED:
        return {}
    from babel.messages.pofile import read_po

    out: dict[str, str] = {}
    with path_of(language).open("rb") as file:
        for message in read_po(file, locale=language):
            if not message.id or message.fuzzy:
                continue
            ids, said = (part if isinstance(part, (list, tuple)) else (part,) for part in (message.id, message.string))
            mark = f"{message.context}{CONTEXT}" if message.context else ""
            # One and many stand under a key each: both languages change form at one and nowhere else.
            out.update((mark + str(english), text) for english, text in zip(ids, said, strict=False) if text)
    return out


def path_of(language: str) -> Path:
    """Where a language's file is."""
    return LOCALE / language / "LC_MESSAGES" / f"{DOMAIN}.po"
