"""What a change aims at, known from its words."""

from __future__ import annotations

import pytest

from evenfoot.analytics.domain.changes import CHANGE_FAMILIES, lesions_aimed_at
from evenfoot.analytics.domain.lesions import PARENTS

BATH, FLOOR, TRIM = (family.lesions for family in CHANGE_FAMILIES)


# [common practice, no source]
@pytest.mark.parametrize(
    ("words", "aims"),
    [
        ("regular foot bathing", BATH),
        ("New footbath at both exits", BATH),
        ("hoof-baths three times a week", BATH),
        ("Baños de patas dos veces por semana", BATH),
        ("pediluvio nuevo", BATH),
        ("Rubber in the alleys", FLOOR),
        ("concrete grooved", FLOOR),
        ("Piso de caucho", FLOOR),
        ("tapetes de hule", FLOOR),
        ("trimmed every 4 months instead of 6", TRIM),
        ("Recorte cada cuatro meses", TRIM),
        ("despalme tres veces al año", TRIM),
        ("another trimmer", ()),
        ("more straw", ()),
        ("matrix of feeds", ()),
        ("", ()),
    ],
)
def test_words_of_a_change(words: str, aims: tuple[str, ...]) -> None:
    assert set(lesions_aimed_at(words)) == set(aims)


def test_every_family_aims_at_lesions_there_are() -> None:
    for family in CHANGE_FAMILIES:
        assert family.lesions and set(family.lesions) <= set(PARENTS)
    assert set(lesions_aimed_at("rubber floor and foot bath")) == {*BATH, *FLOOR}
