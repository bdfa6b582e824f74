"""What a sheet leaves open, as questions with choices, and the answers to them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import Message, say


@dataclass(frozen=True)
class Choice:
    """One answer: the ``value`` that is given and what it ``says``."""

    value: str
    says: Message


@dataclass(frozen=True)
class Question:
    """Something that a sheet does not say with certainty.

    Attributes
    ----------
    id : str
        Under which it is answered; the same question of another sheet of that layout has the same id.
    about : str
        The heading, the word or the name in question.
    text : Message
    choices : tuple of Choice
    default : str or None
        The likeliest answer.
    safe : bool
        Whether the default may be taken without asking: it then makes no wrong record.
    free : bool
        Whether other answers than the choices are possible, such as the name of a farm.
    lasting : bool
        Whether the answer holds for the next sheet of that layout.
    """

    id: str
    about: str
    text: Message
    choices: tuple[Choice, ...] = ()
    default: str | None = None
    safe: bool = False
    free: bool = False
    lasting: bool = True

    def as_json(self) -> dict[str, Any]:
        """The question as plain data: id, about, text, choices, default."""
        return {
            "id": self.id,
            "about": self.about,
            "text": str(self.text),
            "choices": [{"value": choice.value, "says": str(choice.says)} for choice in self.choices],
            "default": self.default,
        }


@dataclass
class Answers:
    """What was answered, and the questions that were met on the way.

    Attributes
    ----------
    given : mapping of str to str
        Question id -> value.
    accept : bool
        Whether every default is taken.
    recall : callable or None
        Gives the answers that are remembered for a sheet with some headings.
    columns : mapping of str to (str, str)
        Question id -> a column's heading and what it was taken for, for every column, whether it was asked about or
        not. An answer under that id changes it.
    """

    given: dict[str, str] = field(default_factory=dict)
    accept: bool = False
    recall: Callable[[Sequence[str]], Mapping[str, str]] | None = None
    met: dict[str, Question] = field(default_factory=dict)
    used: dict[str, str] = field(default_factory=dict)
    columns: dict[str, tuple[str, str]] = field(default_factory=dict)

    @property
    def ids(self) -> set[str]:
        """Ids that can be answered: of the questions that were met, and of the columns."""
        return {*self.met, *self.columns}

    def remember(self, headings: Sequence[str]) -> None:
        """Take over what is remembered for a sheet with these headings; what was given now comes first."""
        if self.recall is not None:
            self.given = {**self.recall(headings), **self.given}

    def value(self, id: str) -> str | None:
        """The answer to a question that was met: given, else its default."""
        return self.given.get(id, self.met[id].default)

    def ask(self, question: Question) -> str | None:
        """The answer to a question: given, else its default, else ``None``.

        A reading goes on with the default, so that one can show what would follow. Whether the question is still
        open is another matter: see :meth:`open`.

        Raises
        ------
        UserError
            The answer is none of the choices.
        """
        self.met.setdefault(question.id, question)
        value = self.given.get(question.id)
        if value is None:
            return question.default
        if not question.free and question.choices and value not in {choice.value for choice in question.choices}:
            raise UserError(
                say(
                    "'{value}' is no answer to {id}. Choose one of: {choices}.",
                    value=value,
                    id=question.id,
                    choices=", ".join(choice.value for choice in question.choices),
                )
            )
        self.used[question.id] = value
        return value

    def open(self) -> list[Question]:
        """Questions without an answer; with ``accept``, those without a default alone."""
        return [
            question
            for question in self.met.values()
            if question.id not in self.given and not (self.accept and question.default is not None)
        ]

    def blocking(self) -> list[Question]:
        """Open questions whose default may not be taken without asking."""
        return [question for question in self.open() if question.default is None or not question.safe]

    def taken(self) -> list[Question]:
        """Questions whose default was taken."""
        return [
            question
            for question in self.met.values()
            if question.id not in self.given and question.default is not None and (self.accept or question.safe)
        ]

    def lasting(self) -> dict[str, str]:
        """Answers given that hold for the next sheet of that layout."""
        return {key: value for key, value in self.used.items() if self.met[key].lasting}


def choices(pairs: Iterable[tuple[str, Message]]) -> tuple[Choice, ...]:
    """Choices from values and what they say."""
    return tuple(Choice(value, says) for value, says in pairs)
