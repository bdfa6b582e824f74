"""What a dropped sheet leaves open, as questions to be answered on the page, and all that was taken without asking."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import html

from evenfoot.analytics.domain.feet import CLAWS, FEET
from evenfoot.analytics.domain.lesions import PARENTS
from evenfoot.analytics.intake.layouts.column_detection import describe
from evenfoot.analytics.intake.layouts.questions import Answers, Question
from evenfoot.dashboard.i18n.translation import _, _n, told

MOST_BUTTONS = 6
"""Choices up to which each has a button of its own; more stand in a list."""

COLUMN = "column:"
"""What the id of a question about a column begins with."""

COLUMN_CODES: tuple[str, ...] = (
    "visit_date", "farm", "cow", "trimmer", "visit_kind", "herd_size", "group", "housing", "parity", "calving_date",
    "foot", "claw", "zone", "lesion", "lesion_detail", "severity", "dd_stage", "action", "recheck_on",
    "locomotion_score", "lame", "toe_length_mm", "toe_length_after_mm", "heel_depth_mm", "sole_thickness_mm",
    "shed_stage", "feet_seen", "side", "end", "note", "skip",
    *(f"foot {foot}" for foot in FEET),
    *(f"claw {foot} {claw}" for foot in FEET for claw in CLAWS),
    *(f"lesion {lesion}" for lesion in PARENTS),
)  # fmt: skip
"""What a column can be taken for."""


def answer_id(of: str, question: str, part: str = "choice") -> dict[str, str]:
    """The id of the field in which a question of one dropped sheet is answered."""
    return {"type": "answer", "of": of, "question": question, "part": part}


def shown_values(answers: Answers) -> dict[str, str]:
    """Question id -> the value that stands in its field, for every question and column that is shown."""
    values = {id: answers.value(id) or "" for id in answers.met}
    return {**values, **{id: code for id, (_heading, code) in answers.columns.items() if id not in answers.met}}


def open_questions(of: str, questions: Sequence[Question]) -> list[Any]:
    """The questions without which nothing can be added, one under another."""
    if not questions:
        return []
    likely = [question for question in questions if question.default is not None]
    return [
        html.H4(_n("{n} question is open", "{n} questions are open", len(questions)), className="open-questions-title"),
        html.Div(
            [
                html.Div(
                    [
                        *field(of, question, question.default or ""),
                        html.Button(
                            _("That is right"),
                            id={"type": "confirm", "of": of, "question": question.id},
                            className="take thumb",
                            **{"aria-label": _("That is right: {question}", question=told(question.text))},
                        )
                        if question.default is not None
                        else None,
                    ],
                    className="ask",
                )
                for question in questions
            ],
            className="asks",
        ),
        html.Button(
            _("Take every likeliest answer"),
            id={"type": "confirm", "of": of, "question": ""},
            className="take thumb",
        )
        if len(likely) > 1
        else None,
    ]


def field(of: str, question: Question, value: str) -> list[Any]:
    """The field of one question: buttons or a list, and a line to write on where any answer is possible."""
    text = told(question.text)
    choices = [
        {
            "value": choice.value,
            "label": _("{answer} (likeliest)", answer=told(choice.says))
            if choice.value == question.default
            else told(choice.says),
        }
        for choice in {choice.value: choice for choice in question.choices}.values()
    ]
    parts: list[Any] = []
    if choices and len(choices) <= MOST_BUTTONS:
        parts.append(
            dmc.RadioGroup(
                [dmc.Radio(label=choice["label"], value=choice["value"]) for choice in choices],
                id=answer_id(of, question.id),
                label=text,
                value=value,
            )
        )
    elif choices:
        parts.append(_list(answer_id(of, question.id), text, choices, value))
    if question.free:
        known = {choice["value"] for choice in choices}
        parts.append(
            dmc.TextInput(
                id=answer_id(of, question.id, "free"),
                label=_("Another answer") if choices else text,
                value="" if value in known else value,
                debounce=True,
                className="thumb",
                **({"aria-label": _("Another answer: {question}", question=text)} if choices else {}),
            )
        )
    return parts


def _list(id: dict[str, str], label: str, choices: Sequence[Mapping[str, str]], value: str) -> Any:
    return dmc.Select(
        id=id,
        label=label,
        data=list(choices),
        value=value or None,
        allowDeselect=False,
        searchable=True,
        placeholder=_("Choose"),
        className="thumb",
        comboboxProps={"withinPortal": False},
    )


def settled_fold(of: str, answers: Answers, given: Mapping[str, str], *, is_open: bool) -> list[Any]:
    """All that was answered, remembered or taken as likeliest, each to be changed, under a fold."""
    blocking = {question.id for question in answers.blocking()}
    settled = [question for id, question in answers.met.items() if id not in blocking and not id.startswith(COLUMN)]
    columns = [(id, *column) for id, column in answers.columns.items() if id not in blocking]
    if not settled and not columns:
        return []
    return [
        html.Details(
            [
                html.Summary(_("What was taken for what; change it here")),
                *(
                    html.Div(
                        [html.P(_reason(question.id, answers, given), className="basis"),
                         *field(of, question, answers.value(question.id) or "")],
                        className="ask",
                    )
                    for question in settled
                ),
                html.H4(_("Columns of the sheet")) if columns else None,
                html.Div([_column(of, *column) for column in columns], className="choices columns"),
            ],
            className="fold",
            open=is_open,
        )
    ]  # fmt: skip


def _reason(id: str, answers: Answers, given: Mapping[str, str]) -> str:
    """How it came about that a question is not open."""
    if id in given:
        return _("Answered just now")
    return _("Remembered from an earlier sheet") if id in answers.given else _("Taken as likeliest")


def _column(of: str, id: str, heading: str, code: str) -> Any:
    choices = [{"value": one, "label": told(describe(one))} for one in dict.fromkeys((code, *COLUMN_CODES))]
    return _list(answer_id(of, id), heading, choices, code)
