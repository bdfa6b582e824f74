"""Who the report is from and whose farm it is: names, addresses and a logo, from a small TOML file."""

from __future__ import annotations

import io
import tomllib
import warnings
from pathlib import Path
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.dashboard.report.request import Sender

LARGEST_LOGO = 5_000_000
"""Bytes."""
LARGEST_LETTERHEAD = 1_000_000
"""Bytes."""
MOST_PIXELS = 20_000_000
LOGO_SIZE = (600, 240)
"""A logo is printed no larger than 5 by 2 cm; this is enough for print. [common practice, no source]"""

FORMATS = ("PNG", "JPEG", "GIF", "WEBP")


def read_letterhead(path: Path) -> tuple[Sender, dict[str, Sender]]:
    """The trimmer, and the farms by name, of a letterhead file.

    The file has a table ``[trimmer]`` with name, address and logo (a file beside it), and tables
    ``[farms."NAME"]`` with name and address.

    Raises
    ------
    UserError
        There is no such file, it is not TOML, or the logo is not a picture.
    """
    try:
        said = tomllib.loads(_content(path, LARGEST_LETTERHEAD).decode())
    except OSError as error:
        raise UserError(f"The letterhead {path} cannot be read ({error.strerror}); check the name.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise UserError(f"The letterhead {path} is not proper TOML: {error}.") from None
    except RecursionError:
        raise UserError(f"The letterhead {path} is nested too deep; write it as the example does.") from None
    farms = said.get("farms", {})
    if not isinstance(farms, dict):
        raise UserError(f'The letterhead {path}: farms must be tables, such as [farms."Home Farm"].')
    return _sender(said.get("trimmer", {}), path), {str(name): _sender(one, path) for name, one in farms.items()}


def _sender(said: Any, path: Path) -> Sender:
    if not isinstance(said, dict):
        raise UserError(f"The letterhead {path}: the trimmer and each farm must be a table with name and address.")
    logo = said.get("logo")
    picture = None
    if logo:
        place = path.parent / str(logo)
        try:
            picture = checked_logo(_content(place, LARGEST_LOGO), str(logo))
        except OSError as error:
            raise UserError(f"The logo {place} cannot be read ({error.strerror}); check the name.") from None
    return Sender(str(said.get("name", "")), str(said.get("address", "")), picture)


def _content(path: Path, most: int) -> bytes:
    """The bytes of a file, and one more where there are more than *most*.

    Raises
    ------
    UserError
        It is no file, such as a device that never ends.
    OSError
        It cannot be read.
    """
    if path.exists() and not path.is_file():
        raise UserError(f"{path} is no file that can be read; give the name of one.")
    with path.open("rb") as file:
        return file.read(most + 1)


def checked_logo(data: bytes, name: str = "The logo") -> bytes:
    """A logo made anew as a plain PNG of printable size: whatever else was in the file is gone.

    Raises
    ------
    UserError
        It is too large, or not a PNG, JPEG, GIF or WebP picture.
    """
    from PIL import Image, UnidentifiedImageError

    if len(data) > LARGEST_LOGO:
        raise UserError(f"{name} is larger than {LARGEST_LOGO // 1_000_000} MB; give a smaller picture.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=FORMATS) as picture:
                if picture.width * picture.height > MOST_PIXELS:
                    raise UserError(
                        f"{name} has more than {MOST_PIXELS // 1_000_000} million pixels; give a smaller one."
                    )
                plain = picture.convert("RGBA")
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Warning, Image.DecompressionBombError) as error:
        if isinstance(error, UserError):
            raise
        raise UserError(f"{name} is not a picture that can be read; give a PNG, JPEG, GIF or WebP file.") from None
    plain.thumbnail(LOGO_SIZE)
    out = io.BytesIO()
    plain.save(out, "PNG")
    return out.getvalue()
