"""Names, addresses and logos from a file; a logo is made anew, and what is no picture is refused."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.dashboard.cli.import_sheets import import_paths
from evenfoot.dashboard.report.letterhead import LARGEST_LOGO, LOGO_SIZE, checked_logo, read_letterhead

TOML = """
[trimmer]
name = "J. Moss, hoof trimming"
address = '''
1 Lane
Town'''
logo = "logo.png"

[farms."Home Farm"]
name = "A. Reed"
address = "2 Lane"
"""


def picture(kind: str = "PNG", size: tuple[int, int] = (900, 300), **options: object) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, "#7A3E1D").save(out, kind, **options)
    return out.getvalue()


def test_a_letterhead_is_read(tmp_path: Path) -> None:
    (tmp_path / "logo.png").write_bytes(picture())
    (tmp_path / "head.toml").write_text(TOML, encoding="utf-8")
    trimmer, owners = read_letterhead(tmp_path / "head.toml")
    assert trimmer.name == "J. Moss, hoof trimming"
    assert trimmer.address.splitlines() == ["1 Lane", "Town"]
    assert owners["Home Farm"].name == "A. Reed"
    assert trimmer.logo is not None
    assert Image.open(io.BytesIO(trimmer.logo)).size == (600, 200)


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "GIF", "WEBP"])
def test_a_logo_becomes_a_plain_small_png(kind: str) -> None:
    made = checked_logo(picture(kind))
    image = Image.open(io.BytesIO(made))
    assert image.format == "PNG"
    assert image.width <= LOGO_SIZE[0] and image.height <= LOGO_SIZE[1]


def test_what_else_was_in_the_file_is_gone() -> None:
    more = PngInfo()
    more.add_text("Comment", "where I live")
    data = picture(pnginfo=more) + b"<script>alert(1)</script>"
    made = checked_logo(data)
    assert b"where I live" in data
    assert b"where I live" not in made
    assert b"script" not in made


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"%PDF-1.7",
        picture()[:60],
        picture("BMP"),
        bytes(LARGEST_LOGO + 1),
        picture(size=(6000, 4000)),
    ],
    ids=["empty", "svg", "pdf", "half", "other kind", "large", "many pixels"],
)
def test_what_cannot_be_a_logo_is_refused(data: bytes) -> None:
    with pytest.raises(UserError):
        checked_logo(data, "logo.png")


@pytest.mark.parametrize(
    "text", ["[trimmer", "trimmer = 3", "farms = 3", "farms.x = 3", '[trimmer]\nlogo = "absent.png"'], ids=str
)
def test_a_letterhead_that_cannot_be_is_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "head.toml").write_text(text, encoding="utf-8")
    with pytest.raises(UserError, match=r"letterhead|logo"):
        read_letterhead(tmp_path / "head.toml")
    with pytest.raises(UserError, match="cannot be read"):
        read_letterhead(tmp_path / "absent.toml")


def _png(width: int, height: int) -> bytes:
    """The head of a picture that says it is of that size."""

    def part(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = part(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + part(b"IDAT", zlib.compress(b"\0" * 100)) + part(b"IEND", b"")


@pytest.mark.parametrize("size", [(13_400, 13_400), (30_000, 30_000), (5_000, 5_000)])
def test_a_logo_of_too_many_pixels_is_told(size: tuple[int, int]) -> None:
    with pytest.raises(UserError, match=r"pixels|cannot be|can be read"):
        checked_logo(_png(*size))


def test_a_letterhead_nested_too_deep_is_told(tmp_path: Path) -> None:
    (tmp_path / "head.toml").write_text("a = " + "[" * 100_000)
    with pytest.raises(UserError, match="letterhead"):
        read_letterhead(tmp_path / "head.toml")


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="the system has no such device")
def test_a_device_that_never_ends_is_told(tmp_path: Path) -> None:
    (tmp_path / "head.toml").write_text('[trimmer]\nname = "J. Moss"\nlogo = "/dev/zero"\n')
    with pytest.raises(UserError, match="/dev/zero is no file"):
        read_letterhead(tmp_path / "head.toml")
    with pytest.raises(UserError, match="/dev/zero is no file"):
        read_letterhead(Path("/dev/zero"))
    with pytest.raises(UserError, match="/dev/zero is no file"):
        check_file(Path("/dev/zero"), "zero")
    with pytest.raises(UserError, match="/dev/zero is no file"):
        import_paths([Path("/dev/zero")], str(tmp_path / "none.duckdb"), None, None, False, dry_run=True)
