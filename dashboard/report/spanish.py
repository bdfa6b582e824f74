"""What the report says, in Spanish, by its English template."""

from __future__ import annotations

SPANISH: dict[str, str] = {
    "not known": "no se sabe",
    "interval not known": "intervalo desconocido",
    "to": "a",
    "and": "y",
    "{n} cows": "{n} vacas",
}
