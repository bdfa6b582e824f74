"""Names of files that every system takes."""

from __future__ import annotations

import hashlib
import re
import string
import unicodedata

DIGEST_DIGITS = 10
"""Hexadecimal digits of a farm's digest: among 10,000 farms two are alike once in some 20,000 times."""
NAME_LETTERS = 60
"""Letters of a farm's name in the name of a file; some systems take 143 bytes for a whole name. [from memory]"""
RESERVED = frozenset({"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))})
"""Names that Windows keeps for devices, with any ending.
[pub: Microsoft, Naming Files, Paths, and Namespaces]"""


def file_name(farm: str) -> str:
    """A file name for a farm: always the same for this farm, and never that of another farm.

    Every system takes it: small letters, digits and hyphens, at most 71. Words written as in ``Home Farm`` are told by
    their small letters alone. Every other name also gets a digest of itself.

    Parameters
    ----------
    farm : str

    Returns
    -------
    str
        Without an ending.

    Examples
    --------
    >>> [file_name(farm) for farm in ("Home Farm", "Home-Farm", "../x", "牧場", "Con")]
    ['home-farm', 'home-farm-d726f3221a', 'x-d6b96a97d1', 'farm-a438557551', 'con-3b6f52aa79']
    """
    plain = unicodedata.normalize("NFKD", farm).encode("ascii", "ignore").decode()
    name = re.sub(r"[^a-z0-9]+", "-", plain.casefold()).strip("-")
    words = name.split("-")
    tells_all = " ".join(word.capitalize() for word in words) == farm
    looks_digested = len(words[-1]) == DIGEST_DIGITS and set(words[-1]) <= set(string.hexdigits)
    if name and tells_all and len(name) <= NAME_LETTERS and name not in RESERVED and not looks_digested:
        return name
    digest = hashlib.sha256(farm.encode("utf-8", "surrogatepass")).hexdigest()[:DIGEST_DIGITS]
    return f"{name[:NAME_LETTERS].strip('-') or 'farm'}-{digest}"
