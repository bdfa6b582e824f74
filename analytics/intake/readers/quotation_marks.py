"""Where quotation marks stand in a delimited text: only round whole cells and doubled inside them, or elsewhere too."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

QUOTE, END = ord('"'), ord("\n")
BLANK = [ord(" "), ord("\t")]
SEPARATORS = (",", ";", "\t", "|")


class Quoting:
    """Looks a text through for its quotation marks, block by block.

    Where they are tidy, every other mark opens a cell or follows the one before it, and the marks between close one
    or are followed by the next. Readers that disagree on a mark in the middle of a cell, or on letters after a closing
    one, then have nothing to disagree on.
    """

    def __init__(self) -> None:
        self._rest = b"\n"
        self._marks = 0
        self._beyond = np.zeros(256, dtype=bool)

    def add(self, block: bytes) -> bool:
        """Take in the next bytes of the text; gives whether a space or a tab stands beside a mark among them.

        The last byte is looked at with the next ones, when its neighbour is known.
        """
        text = self._rest + block
        self._rest = text[-2:]
        return self._look(text)

    def tidy(self) -> frozenset[str]:
        """The separators with which the whole text is tidy; to be asked once, at its end."""
        self._look(self._rest + b"\n")
        if self._marks % 2:
            return frozenset()
        odd = set(np.flatnonzero(self._beyond).tolist()) - {QUOTE, END}
        return frozenset(each for each in SEPARATORS if odd <= {ord(each)})

    def _look(self, text: bytes) -> bool:
        if b'"' not in text:
            return False
        letters = np.frombuffer(text, dtype=np.uint8)
        marks = np.flatnonzero(letters[1:-1] == QUOTE)
        turn = self._marks % 2
        opening, closing = marks[turn::2], marks[1 - turn :: 2]
        self._marks += len(marks)
        # Outside of an opening mark, and of a closing one, there has to be the edge of a cell, or a mark.
        before, after = letters, letters[2:]
        beyond = _kinds(before[opening]) | _kinds(after[closing])
        within = _kinds(after[opening]) | _kinds(before[closing])
        self._beyond |= beyond
        return bool((beyond | within)[BLANK].any())


def _kinds(letters: npt.NDArray[np.uint8]) -> npt.NDArray[np.bool_]:
    """Which of all letters there are."""
    return np.bincount(letters, minlength=256) > 0
