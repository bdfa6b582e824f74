"""How a typed row reads: what each cell says, in words, and what in it will be asked about."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Sequence
from itertools import groupby

from evenfoot.analytics.domain.feet import FEET
from evenfoot.analytics.intake.checks.similar_names import similar_cows
from evenfoot.analytics.intake.parsing.finding_cell import LONGEST, CellReading, Finding, read_findings, read_remark
from evenfoot.analytics.intake.parsing.value_cells import read_score_text
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts.labels import small, value_label
from evenfoot.dashboard.i18n.translation import _, told, words

SEVERITY = {1: say("mild"), 2: say("moderate"), 3: say("severe")}

NEAREST = 3
"""Known numbers that are shown for one that is not known."""

ALIKE = 0.6
"""How alike they are at least, as :func:`difflib.get_close_matches` has it."""


def row_words(cells: Sequence[str], herd: Collection[str], twin: int | None = None) -> tuple[str, str]:
    """What a row says, and what in it is open.

    Parameters
    ----------
    cells : sequence of str
        Cow, the four feet, score, remarks.
    herd : collection of str
        Numbers of the cows of the farm; empty where none is known.
    twin : int, optional
        The number of another row with the same cow.

    Returns
    -------
    str
        How it reads; empty for a blank row.
    str
        Sentences about what is not understood, not known, or has to be asked.
    """
    cow, *feet, score, note = (str(cell or "").strip() for cell in cells)
    cow, score = cow[: LONGEST_SHOWN + 1], score[: LONGEST_SHOWN + 1]
    if not any((cow, *feet, score, note)):
        return "", ""
    asks = cow_asks(cow, herd, twin)
    said: list[str] = []
    clean: list[str] = []
    for foot, text in zip(FEET, feet, strict=True):
        if not text:
            continue
        found, open_ = foot_words(foot, text)
        if not found and not open_:
            clean.append(small(words().foot(foot)))
        said += found
        asks += open_
    if not any(feet):
        said = [_("nothing written of the feet: nothing found")]
    if clean:
        said.append(_("{feet}: nothing found", feet=words().listed(clean)))
    if score:
        value, _doubt = read_score_text(score)
        if value is None:
            asks.append(_("The score '{score}' is not understood.", score=score))
        else:
            said.append(_("score {n}", n=value))
    if read_remark(note[:LONGEST]).findings:
        asks.append(_("The remark names a lesion; whether it is a finding is asked."))
    reads = "; ".join(said)
    return f"{reads[:1].upper()}{reads[1:]}." if reads else "", " ".join(asks)


LONGEST_SHOWN = 40
"""Letters of a cell that are shown."""


def cow_asks(cow: str, herd: Collection[str], twin: int | None) -> list[str]:
    """What there is to say of a cow's number; nothing where the herd has it."""
    if not cow:
        return [_("The number of the cow is missing.")]
    out = []
    if herd and cow not in herd:
        near = nearest_cows(cow, herd)
        if near:
            out.append(_("No cow {cow} is known here; near it: {near}.", cow=cow, near=", ".join(near)))
        else:
            out.append(_("No cow {cow} is known here; she would be new.", cow=cow))
    if twin is not None:
        out.append(_("Row {row} has the same cow.", row=twin))
    return out


def nearest_cows(cow: str, herd: Collection[str]) -> list[str]:
    """Known numbers that a number may have been meant to be, the likeliest first.

    Example
    -------
    >>> nearest_cows("1043", ["1042", "1403", "7"]), nearest_cows("42", ["0042"])
    (['1403', '1042'], ['0042'])
    """
    same = [one.means for one in similar_cows([cow], list(herd))]
    near = difflib.get_close_matches(cow, list(herd), NEAREST, ALIKE)
    return list(dict.fromkeys([*same, *near]))[:NEAREST]


def foot_words(foot: str, text: str) -> tuple[list[str], list[str]]:
    """What the cell of a foot says, and what in it is open; neither where it says that nothing was found."""
    if len(text) > LONGEST:
        return [], [
            _(
                "{foot}: {n} letters are too many; shorten it to {most}.",
                foot=words().foot_code(foot),
                n=len(text),
                most=LONGEST,
            )
        ]
    reading = read_findings(text, foot=foot)
    asks = [
        _("{foot}: '{word}' is asked about.", foot=words().foot_code(foot), word=doubt.word[:LONGEST_SHOWN])
        for doubt in reading.doubts
    ]
    said = [
        f"{small(words().foot(on or foot))}: {'; '.join(map(finding_words, findings))}"
        for on, findings in groupby(reading.findings, key=lambda finding: finding.foot)
    ]
    if reading.action and (said or reading.action != "trim"):
        done = small(value_label("action", reading.action))
        said = [*said[:-1], f"{said[-1]}, {done}"] if said else [f"{small(words().foot(foot))}: {done}"]
    return said, [*asks, *_unread(foot, reading, bool(said))]


def _unread(foot: str, reading: CellReading, is_read: bool) -> list[str]:
    if not reading.unread:
        return []
    text = " ".join(reading.unread)[:LONGEST_SHOWN]
    if is_read:
        return [_("{foot}: '{word}' goes into the remarks.", foot=words().foot_code(foot), word=text)]
    return [] if reading.doubts else [_("{foot}: '{word}' is not understood.", foot=words().foot_code(foot), word=text)]


def finding_words(finding: Finding) -> str:
    """A finding as a person reads it.

    Example
    -------
    >>> finding_words(Finding("SU", foot="RH", claw="lateral", zone=4, severity=2))
    'sole ulcer, outer claw, zone 4, moderate'
    """
    parts = [
        words().lesion(finding.detail or finding.lesion, inside=True) if finding.lesion != "other" else finding.words,
        finding.stage,
        words().claw(finding.claw) if finding.claw else None,
        _("zone {n}", n=finding.zone) if finding.zone is not None else None,
        told(SEVERITY[finding.severity]) if finding.severity else None,
    ]
    return ", ".join(part for part in parts if part)
