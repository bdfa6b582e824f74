"""Passwords that guessers try first, and what is made of them. The list is short and written from memory."""

from __future__ import annotations

import re

LIST = """
password passwort contraseña clave secret secreto letmein welcome bienvenido login admin administrator root guest
master access default changeme change please trustno iloveyou teamo lovely love amor princess sunshine dragon monkey
football baseball soccer futbol hockey basketball liverpool chelsea arsenal barcelona realmadrid juventus cowboys
yankees rangers lakers superman batman spiderman pokemon starwars matrix naruto michael jordan jennifer jessica ashley
daniel andrew thomas robert joshua matthew charlie george william michelle amanda nicole hannah anthony maria jose
juan carlos pedro ana laura sofia diego fernando shadow killer hunter ranger buster tigger ginger pepper cookie cheese
chocolate banana orange apple summer winter spring autumn january february march april june july august september
october november december monday tuesday wednesday thursday friday saturday sunday computer internet samsung google
facebook twitter instagram youtube linkedin microsoft windows android iphone mustang corvette ferrari porsche mercedes
harley yamaha honda toyota freedom whatever nothing something anything forever together friends family mother father
brother sister daughter daddy mommy baby babygirl angel heaven jesus christ jesuschrist blessed god silver golden
diamond purple yellow green blue black white red rainbow flower butterfly dolphin tiger lion eagle falcon phoenix wolf
bear horse cow cows cattle dairy milk farm farmer hoof hooves herd trimmer evenfoot lameness tractor barn vaca vacas
granja leche hello hola test testing temp demo user username abc abcd abcdef qwerty qwertyuiop qwertz azerty asdf
asdfgh asdfghjkl zxcv zxcvbn zxcvbnm yxcvbnm qazwsx qazwsxedc wsxedc poiuytrewq lkjhgfdsa mnbvcxz
correcthorsebatterystaple thequickbrownfox quickbrownfox lazydog tobeornottobe maytheforcebewithyou opensesame
abracadabra supercalifragilisticexpialidocious donttellanyone thisismypassword mypassword iforgot idontknow fuckyou
asshole bitch shit hottie sexy money cash success winner champion player gamer ninja samurai warrior knight wizard
magic merlin gandalf hobbit frodo zelda mario sonic
"""
"""[from memory: the most frequent of published lists of leaked passwords, and words of this trade]"""

WORDS = frozenset(LIST.split())

SIGNS, DIGITS = str.maketrans("@$", "as"), str.maketrans("013457", "oieast")
"""Signs and digits that stand for letters. [common practice, no source]"""

MOST_PIECES = 3
"""Common words, runs of digits or repetitions that a password may be made of and still be common. Four words that do
not belong together stay allowed. [common practice, no source]"""

RUNS = "abcdefghijklmnopqrstuvwxyz", "qwertyuiop", "asdfghjkl", "zxcvbnm"


def is_common(password: str) -> bool:
    """Whether a password is a common one, or made of at most three that are.

    Examples
    --------
    >>> [is_common(one) for one in ("password12345678", "P@ssw0rd-Dairy-2026", "monkeymonkeymonkey")]
    [True, True, True]
    >>> [is_common(one) for one in ("four words walk along", "stove ladder kettle moss")]
    [False, False]
    """
    plain = re.sub(r"[\W_]+", "", password.casefold().translate(SIGNS))
    return _pieces(re.sub(r"^(.+?)\1+$", r"\1", plain)) <= MOST_PIECES


def _pieces(text: str) -> int:
    """The fewest common words and runs of digits or keys that a text is made of; many, if it is not."""
    many = len(text) + MOST_PIECES + 1
    fewest = [0, *[many] * len(text)]
    for end in range(1, len(text) + 1):
        for start in range(end):
            if fewest[start] + 1 < fewest[end] and _is_piece(text[start:end]):
                fewest[end] = fewest[start] + 1
    return fewest[-1]


def _is_piece(piece: str) -> bool:
    if piece.isdigit() or piece in WORDS or piece.translate(DIGITS) in WORDS:
        return True
    return len(piece) > 3 and any(piece in run + run[::-1] for run in RUNS)
