"""Locomotion scales: what counts as lame on each. Scores are never averaged across scales."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Scale:
    """A locomotion scale; a score of ``lame`` or more is lame, of ``severe`` or more severely lame."""

    name: str
    lowest: int
    highest: int
    lame: int
    severe: int
    words: dict[int, str]
    source: str


SCALES: dict[str, Scale] = {
    "1-5": Scale(
        "1-5", 1, 5, 3, 4,
        {1: "normal", 2: "mildly lame", 3: "moderately lame", 4: "lame", 5: "severely lame"},
        "Sprecher, Hostetler & Kaneene 1997, Theriogenology 47:1179",
    ),
    "0-3": Scale(
        "0-3", 0, 3, 2, 3,
        {0: "good", 1: "imperfect", 2: "impaired", 3: "severely impaired"},
        "British mobility scale [common practice, no source]",
    ),
}  # fmt: skip


def is_lame(score: int, scale: str) -> bool:
    """Whether a score counts as lame on its scale.

    Example
    -------
    >>> is_lame(2, "1-5"), is_lame(2, "0-3")
    (False, True)
    """
    return score >= SCALES[scale].lame


def understand_scale(text: str) -> str | None:
    """The scale a text names, or ``None``.

    Example
    -------
    >>> [understand_scale(text) for text in ("1 to 5", "0-3 (2 and 3 are lame)", "mobility", "1-4")]
    ['1-5', '0-3', '0-3', None]
    """
    bare = text.partition("(")[0] if not text.lstrip().startswith("(") else text
    word = "".join(letter if letter.isalnum() else " " for letter in bare.casefold()).split()
    if word in (
        ["1", "5"],
        ["1", "to", "5"],
        ["15"],
        ["5"],
        ["5", "point"],
        ["sprecher"],
        ["five", "point"],
    ):
        return "1-5"
    if word in (
        ["0", "3"], ["0", "to", "3"], ["03"], ["3"], ["4", "point"], ["four", "point"],
        ["mobility"], ["mobility", "score"],
    ):  # fmt: skip
        return "0-3"
    return None
