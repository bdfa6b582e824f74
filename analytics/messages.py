"""Sentences that keep their template, so that they can be shown in another language later."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from typing import Any


class Message(str):
    """A finished English sentence that remembers the template and the values it was made from.

    ``str`` itself is the English text. ``template`` and ``values`` let a page say the same thing in
    another language: translate the template, then fill it again.
    """

    template: str
    values: dict[str, Any]

    def __getnewargs_ex__(self) -> tuple[tuple[str], dict[str, Any]]:
        return (self.template,), self.values

    def __new__(cls, template: str, **values: Any) -> Message:
        text = super().__new__(cls, template.format(**values))
        text.template = template
        text.values = values
        return text


class Length(float):
    """A length in millimetres that names its unit, so that a page can say it in another.

    Examples
    --------
    >>> say("The limit is {limit}.", limit=Length(80))
    'The limit is 80 mm.'
    """

    def __format__(self, _spec: str) -> str:
        return f"{float(self):g} mm"


def say(template: str, **values: Any) -> Message:
    """Fill *template* with *values* (``str.format`` rules) and keep both.

    Examples
    --------
    >>> sentence = say("Only {n} cows were looked at.", n=7)
    >>> sentence
    'Only 7 cows were looked at.'
    >>> sentence.template
    'Only {n} cows were looked at.'
    """
    return Message(template, **values)


def say_n(one: str, many: str, n: int, **values: Any) -> Message:
    """Like :func:`say`, with the template for one or for many; ``{n}`` is the number.

    Examples
    --------
    >>> say_n("{n} row", "{n} rows", 1), say_n("{n} row", "{n} rows", 2)
    ('1 row', '2 rows')
    """
    return Message(one if n == 1 else many, n=n, **values)


def listed(parts: Sequence[Message | str], between: str = ",") -> Message:
    """Parts after each other, each of which can still be said in another language.

    Parameters
    ----------
    parts : sequence of Message or str
    between : {",", ";"}

    Raises
    ------
    TypeError
        There is no part.

    Examples
    --------
    >>> listed([say("housing"), say("lactation"), say("farm")])
    'housing, lactation, farm'
    """
    template = _BETWEEN[between]
    whole = functools.reduce(lambda said, then: say(template, said=said, then=then), parts)
    return whole if isinstance(whole, Message) else say("{said}", said=whole)


def N_(template: str) -> str:
    """A template that is filled where it is used, marked here so that the catalogue has words for it.

    Examples
    --------
    >>> N_("{n} cows in {pen}.")
    '{n} cows in {pen}.'
    """
    return template


_BETWEEN = {",": N_("{said}, {then}"), ";": N_("{said}; {then}")}
"""What stands between parts -> the template of two."""
