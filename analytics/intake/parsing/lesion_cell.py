"""The lesion cell: a lesion, a subtype, a stage, nothing found, or more than one row should say."""

from __future__ import annotations

import re
from dataclasses import dataclass

from evenfoot.analytics.domain.lesions import (
    LESIONS,
    NO_CASE_STAGE,
    parent_of,
    says_nothing_found,
    understand_lesion,
    understand_stage,
)
from evenfoot.analytics.intake.parsing.cell_error import Unreadable
from evenfoot.analytics.messages import say

_BETWEEN = re.compile(r"[,;+/&|\n]|\s-\s|\band\b|\bwith\b|\bplus\b", re.I)
SEVERITY_REMEDY = say("Write the severity, 1 to 3, in a column of its own.")
LIST_REMEDY = say("Use a name or a code from the list of lesions, such as SU, sole ulcer, WL, DD.")


@dataclass(frozen=True)
class Finding:
    """What a lesion cell says; ``lesion`` is the parent's code, ``None`` if nothing was found."""

    lesion: str | None
    detail: str | None = None
    stage: str | None = None


def read_finding(text: str) -> Finding:
    """Understand a lesion cell.

    Raises
    ------
    Unreadable
        The words are not in the vocabulary, or several findings stand in one cell.

    Example
    -------
    >>> read_finding("White line abscess"), read_finding("DD M2").stage, read_finding("ok").lesion
    (Finding(lesion='WL', detail='WLA', stage=None), 'M2', None)
    """
    if says_nothing_found(text):
        return Finding(None)
    code = understand_lesion(text)
    if code is not None and "+" in text:
        # A degree behind the lesion would be lost here.
        shown = " ".join(text.split())[:60]
        raise Unreadable(say("Not understood: '{shown}'.", shown=shown), SEVERITY_REMEDY)
    if code is not None:
        parent = parent_of(code)
        return Finding(parent, code if code != parent else None, understand_stage(text) if parent == "DD" else None)
    shown = " ".join(text.split())[:60]
    parts = [part for part in _BETWEEN.split(text) if part.strip()]
    if len(parts) > 1 and any(understand_lesion(part) for part in parts):
        raise Unreadable(
            say("Several findings in one cell: '{shown}'.", shown=shown),
            say("Give each its own row: one row a finding."),
        )
    raise Unreadable(say("Not understood: '{shown}'.", shown=shown), LIST_REMEDY)


def read_detail(text: str) -> str:
    """Code of a subtype.

    Raises
    ------
    Unreadable
        The words are not in the vocabulary.

    Example
    -------
    >>> read_detail("abscess of the white line"), read_detail("wlf")
    ('WLA', 'WLF')
    """
    code = understand_lesion(text)
    if code is None:
        subtypes = ", ".join(code for code in LESIONS if parent_of(code) != code)
        raise Unreadable(
            say("Not understood: '{shown}'.", shown=" ".join(text.split())[:60]),
            say("Use one of: {subtypes}.", subtypes=subtypes),
        )
    return code


_WITHIN = {
    "WL": {"abscess": "WLA", "fissure": "WLF", "crack": "WLF"},
    "SH": {"diffuse": "SHD", "circumscribed": "SHC"},
    "HF": {"axial": "HFA", "horizontal": "HFH", "vertical": "HFV"},
}
"""What a subtype column may say once the lesion is known."""


class Mismatch(Unreadable):
    """Lesion, subtype and stage do not go together; ``field`` is the one to mend."""

    def __init__(self, field: str, reason: str, remedy: str) -> None:
        super().__init__(reason, remedy)
        self.field = field


def join_finding(finding: Finding, detail: str | None, stage: str | None) -> Finding:
    """Bring a lesion together with the subtype and the stage that stand in columns of their own.

    Parameters
    ----------
    finding : Finding
    detail : str or None
        Text of the subtype column.
    stage : str or None
        Stage of the stage column, already understood.

    Raises
    ------
    Mismatch
        They contradict each other.

    Example
    -------
    >>> join_finding(Finding("WL"), "abscess", None)
    Finding(lesion='WL', detail='WLA', stage=None)
    >>> join_finding(Finding(None), None, "M0")
    Finding(lesion='DD', detail=None, stage='M0')
    """
    if detail is not None:
        code = _WITHIN.get(finding.lesion or "", {}).get(detail.strip().casefold()) or read_detail(detail)
        parent = parent_of(code)
        if finding.lesion is None:
            finding = Finding(parent, None, finding.stage)
        if parent != finding.lesion:
            raise Mismatch(
                "lesion_detail",
                f"{code} is not a kind of {finding.lesion} ({LESIONS[finding.lesion or parent].name}).",
                "Correct the lesion or its subtype.",
            )
        if code != parent:
            if finding.detail not in (None, code):
                raise Mismatch(
                    "lesion_detail",
                    f"The lesion says {finding.detail}, the subtype {code}.",
                    "Correct the lesion or its subtype.",
                )
            finding = Finding(parent, code, finding.stage)
    if stage is None:
        return finding
    if finding.lesion is None and stage == NO_CASE_STAGE:
        return Finding("DD", None, stage)
    if finding.lesion != "DD":
        what = "no lesion" if finding.lesion is None else finding.lesion
        raise Mismatch(
            "dd_stage",
            f"A stage of digital dermatitis, but {what} in the row.",
            "Write DD as the lesion, or clear the stage.",
        )
    if finding.stage not in (None, stage):
        raise Mismatch(
            "dd_stage",
            f"The lesion says stage {finding.stage}, the stage column {stage}.",
            "Correct one of them.",
        )
    return Finding("DD", None, stage)
