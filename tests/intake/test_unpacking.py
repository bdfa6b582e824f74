"""The parts of a workbook are unpacked piece by piece."""

from __future__ import annotations

import random
import zipfile
import zlib

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.readers.excel import _pieces

NOISE = random.Random(1).randbytes(1_000_003)
EVEN = bytes(9_000_001)


def packed(content: bytes) -> memoryview:
    deflate = zlib.compressobj(wbits=-zlib.MAX_WBITS)
    return memoryview(deflate.compress(content) + deflate.flush())


@pytest.mark.parametrize("content", [b"", b"a", NOISE, EVEN, NOISE + EVEN + NOISE])
def test_the_pieces_are_the_whole(content: bytes) -> None:
    stored = list(_pieces(memoryview(content), zipfile.ZIP_STORED, "book.xlsx"))
    deflated = list(_pieces(packed(content), zipfile.ZIP_DEFLATED, "book.xlsx"))
    assert b"".join(stored) == b"".join(deflated) == content
    assert max((len(piece) for piece in stored + deflated), default=0) <= 1 << 20


def test_what_follows_the_end_or_is_missing_is_not_waited_for() -> None:
    body = packed(NOISE)
    assert b"".join(_pieces(memoryview(bytes(body) + b"more"), zipfile.ZIP_DEFLATED, "book.xlsx")) == NOISE
    short = b"".join(_pieces(body[: len(body) // 2], zipfile.ZIP_DEFLATED, "book.xlsx"))
    assert short and NOISE.startswith(short)


def test_what_is_not_packed_is_told() -> None:
    with pytest.raises(UserError, match=r"book\.xlsx cannot be opened"):
        list(_pieces(memoryview(b"\xff" * 100_000), zipfile.ZIP_DEFLATED, "book.xlsx"))
