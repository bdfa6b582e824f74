"""Names of accounts that nobody can take for another: no look-alikes, no mixed scripts, no reserved names."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say

RESERVED = (
    *("admin", "administrator", "root", "system", "superuser", "sysadmin", "support", "security", "service"),
    *("owner", "trimmer", "manager", "adviser", "owner of the ledger", "herd manager", "administrador", "sistema"),
    *("propietario", "dueño", "recortador", "asesor", "gerente", "soporte", "nadie", "un enlace", "desconocido"),
    *("nobody", "anonymous", "guest", "everybody", "everyone", "a link", "link", "command", "page", "unknown", "none"),
    *("evenfoot", "this machine", "ledger"),
)
"""Names that the program uses for itself, or that people take for its own. [from memory]"""

LOOK_ALIKES = str.maketrans(
    # Cyrillic, Greek, Latin with a stroke or without a dot, digits and signs.
    "аеорсухіјѕһӏԁԛԝѵвкмнтг" + "αεικνορτυχγω" + "ıłøđħŧɡ" + "0135|!$@",
    "aeopcyxijshldqwvbkmhtr" + "aeiknoptuxyw" + "ilodhtg" + "olesllsa",
    "·'’-._",
)
"""What each letter is taken for in many typefaces, small letters without accents.
[from memory: a part of the confusables of Unicode Technical Standard 39]"""

PAIRS = (("rn", "m"), ("vv", "w"))
"""Letters that look like one other beside each other. [from memory, as above]"""


def refuse_confusable(name: str, others: Iterable[str]) -> None:
    """Refuse a name that can be taken for another one, or for the program itself.

    Parameters
    ----------
    name : str
        As it will be shown.
    others : iterable of str
        Names there are.

    Raises
    ------
    UserError
        Its letters are of several scripts, it is reserved, or it looks like a name there is.
    """
    scripts = scripts_of(name)
    if len(scripts) > 1:
        raise UserError(
            say(
                "The name {name} mixes letters of several alphabets ({scripts}); write it in one of them.",
                name=name,
                scripts=", ".join(sorted(scripts)),
            )
        )
    if looks(name) & {look for reserved in RESERVED for look in looks(reserved)} or "" in looks(name):
        raise UserError(say("The name {name} is reserved; take the name of a person.", name=name))
    alike = next((other for other in others if looks(other) & looks(name)), None)
    if alike is not None:
        raise UserError(
            say("The name {name} looks like {other}, who has an account; take another.", name=name, other=alike)
        )


def scripts_of(name: str) -> set[str]:
    """The alphabets of the letters of a name; Japanese ones go together.

    Examples
    --------
    >>> scripts_of("Kim Vale 2"), sorted(scripts_of("K\N{CYRILLIC SMALL LETTER I}m"))
    ({'latin'}, ['cyrillic', 'latin'])
    """
    found = {
        unicodedata.name(letter, "unknown").split()[0].split("-")[0].lower() for letter in name if letter.isalpha()
    }
    return {"japanese" if script in ("cjk", "hiragana", "katakana") else script for script in found}


def looks(name: str) -> set[str]:
    """What names that look alike have in common: a large I and the digit 1 look like an l, or like an i.

    Examples
    --------
    >>> bool(looks("Kim Vale") & looks("K\N{LATIN SMALL LETTER DOTLESS I}m-VA1E")), bool(looks("Ali") & looks("AIi"))
    (True, True)
    >>> looks("Kim") & looks("Tim"), looks("Ali") & looks("All")
    (set(), set())
    """
    return {_plain(name.replace("I", "l")), _plain(name), _plain(name.replace("1", "i"))}


def _plain(name: str) -> str:
    parts = unicodedata.normalize("NFKD", name).casefold()
    plain = "".join(letter for letter in parts if not unicodedata.combining(letter)).translate(LOOK_ALIKES)
    for pair, single in PAIRS:
        plain = plain.replace(pair, single)
    return "".join(plain.split())
