"""Gathers every template and brings the catalogues up to date: ``python -m evenfoot.dashboard.cli.extraction``."""

from __future__ import annotations

import ast
import copy
import datetime as dt
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import IO, Any

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

from evenfoot.dashboard.i18n.catalogue import DOMAIN, LANGUAGES, LOCALE, TRANSLATED, path_of

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("analytics", "dashboard")
LINE = 110

CALLS = {
    "say": (0,),
    "say_n": (0, 1),
    "N_": (0,),
    "_": (0,),
    "_n": (0, 1),
    "told": (0,),
    "words": (0,),
    "self": (0,),
    "number_of": (0, 1),
}
"""Functions that say their text -> which of their arguments are templates."""

DESCRIBED = {
    "Panel": ((1, "title"), (3, "formula")),
    "Page": ((1, "title"), (2, "question")),
    "Sheet": ((1, "title"),),
    "Column": ((0, "heading"), (1, "meaning")),
}
"""Things that are told as they are shown -> the arguments that are words, by place or by name."""


def templates(
    file: IO[bytes], keywords: Any, comment_tags: Any, options: Any
) -> Iterator[tuple[int, str, str | tuple[str, ...], list[str]]]:
    """Extraction method for Babel: the templates in a Python file, in either arm of a condition too.

    Parameters
    ----------
    file : binary file
    keywords, comment_tags, options
        As Babel gives them; the calls looked for are :data:`CALLS` and :data:`DESCRIBED`.

    Returns
    -------
    iterator of (line, function, messages, comments)
    """
    tree = ast.parse(file.read())
    named = {
        node.targets[0].id: node.value
        for node in tree.body
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name)
    }
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        function = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        wanted: list[ast.expr] = []
        if function in CALLS and (isinstance(node.func, ast.Name) or function in ("number_of", "words")):
            wanted = [node.args[place] for place in CALLS[function] if place < len(node.args)]
        for place, name in DESCRIBED.get(function, ()):
            wanted += [node.args[place]] if place < len(node.args) else []
            wanted += [each.value for each in node.keywords if each.arg == name]
        for each in wanted:
            for text in _texts(each, named):
                yield node.lineno, "_", text, []


def _texts(node: ast.expr, named: dict[str, ast.expr]) -> Iterator[str]:
    """The texts an argument can be."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.IfExp):
        yield from _texts(node.body, named)
        yield from _texts(node.orelse, named)
    elif isinstance(node, ast.BoolOp):
        for each in node.values:
            yield from _texts(each, named)
    elif isinstance(node, ast.Name) and node.id in named:
        yield from _texts(named[node.id], {})
    elif isinstance(node, ast.Subscript) and isinstance(node.value, ast.Name) and node.value.id in named:
        yield from _texts(named[node.value.id], {})
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "get":
        if isinstance(node.func.value, ast.Name) and node.func.value.id in named:
            yield from _texts(named[node.func.value.id], {})
        for each in node.args[1:]:
            yield from _texts(each, named)
    elif isinstance(node, ast.Dict):
        for value in node.values:
            yield from _texts(value, {})
    elif isinstance(node, (ast.Tuple, ast.List)):
        for value in node.elts:
            yield from _texts(value, {})


def gathered() -> Catalog:
    """Every template in the code and every word of the vocabulary, each with where it stands."""
    from evenfoot.dashboard.cli.vocabulary import vocabulary

    out = Catalog(project="Evenfoot", charset="utf-8", copyright_holder="the Evenfoot contributors")
    for room in ROOMS:
        method = [("**.py", "evenfoot.dashboard.cli.extraction:templates")]
        for name, _line, message, _notes, context in extract_from_dir(ROOT / room, method, keywords={"_": None}):
            out.add(message, locations=[(f"{room}/{name}", 0)], context=context)
    for origin, text in vocabulary():
        out.add(text, locations=[(origin, 0)])
    return out


def refreshed(language: str, template: Catalog) -> Catalog:
    """A language's file with exactly the template's messages; what has no words yet stands empty."""
    path = path_of(language)
    if path.exists():
        with path.open("rb") as file:
            catalog = read_po(file, locale=language, domain=DOMAIN)
    else:
        catalog = Catalog(locale=language, domain=DOMAIN, project="Evenfoot")
    catalog.update(copy.deepcopy(template), no_fuzzy_matching=True, update_creation_date=False)
    catalog.obsolete.clear()
    catalog.fuzzy = False
    catalog.header_comment = f"# What Evenfoot says: {LANGUAGES[language]}. MIT licence, as the project."
    catalog.project, catalog.version = "Evenfoot", "1"
    # No day and no name is written into the file, so that only words change it.
    catalog.creation_date = catalog.revision_date = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)
    catalog.last_translator = catalog.language_team = "the Evenfoot contributors"
    catalog.msgid_bugs_address = ""
    return catalog


def write(catalog: Catalog, path: Path) -> None:
    """Write a file in one order, so that a change reads as a change."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        write_po(file, catalog, width=LINE, sort_output=True, omit_header=False, include_lineno=False)


def unsaid(catalog: Catalog) -> list[str]:
    """Templates without words."""
    return [str(message.id) for message in catalog if message.id and not message.string]


def main(languages: Iterable[str] = TRANSLATED) -> None:
    """Bring every language's file up to date and say what is missing."""
    template = gathered()
    for language in languages:
        catalog = refreshed(language, template)
        write(catalog, path_of(language))
        missing = unsaid(catalog)
        print(f"{LOCALE.name}/{language}: {len(catalog)} templates, {len(missing)} without words")
        for text in missing:
            print(f"  {text}")


if __name__ == "__main__":
    main()
