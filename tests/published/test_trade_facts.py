"""The trade's vocabulary and constants against where they come from, each source named beside the check."""

import math

import pytest

from evenfoot.analytics.domain import feet, horn, lesions, locomotion, published_figures, seasons, units, visits


def test_codes_of_the_icar_claw_health_atlas() -> None:
    # ICAR Claw Health Atlas, 2nd edition (2020) [from memory].
    horn_lesions = {"SU", "BU", "TU", "TN", "SH", "WL", "DS", "TS", "HF"}
    others = {"DD", "ID", "IP", "HHE", "IH", "AC", "CD", "CC", "SC", "SW"}
    assert set(lesions.PARENTS) == horn_lesions | others | {lesions.OTHER_LESION}
    assert {code for code in lesions.PARENTS if lesions.LESIONS[code].family == "horn"} == horn_lesions
    details = {lesion.code: lesion.parent for lesion in lesions.LESIONS.values() if lesion.parent != lesion.code}
    assert details == {
        "SHD": "SH", "SHC": "SH", "WLF": "WL", "WLA": "WL", "HFA": "HF", "HFH": "HF", "HFV": "HF",
    }  # fmt: skip
    assert tuple(lesions.DD_STAGES) == ("M0", "M1", "M2", "M3", "M4", "M4.1")


def test_zones_of_the_foot_map() -> None:
    # Shearer and co-authors' extension articles: ulcers in 4, 5, 6; white line disease in 1, 2, 3;
    # fissures in 7, 8; digital dermatitis in 10.
    assert set(range(11)) <= set(feet.ZONES)
    for code in ("SU", "BU"):
        assert set(lesions.LESIONS[code].usual_zones) <= {4, 5, 6}
    assert set(lesions.LESIONS["WL"].usual_zones) == {1, 2, 3}
    assert lesions.LESIONS["WL"].usual_zones[0] == 3
    assert set(lesions.LESIONS["HF"].usual_zones) == {7, 8}
    assert lesions.LESIONS["SU"].usual_zones[0] == 4
    assert lesions.LESIONS["DD"].usual_zones[0] == 10
    assert {zone for zone, about in feet.ZONES.items() if about.part == "white line"} == {1, 2, 3}


def test_locomotion_cut_points() -> None:
    # Sprecher, Hostetler & Kaneene 1997, Theriogenology 47:1179: clinically lame at 3 or more of 5.
    scale = locomotion.SCALES["1-5"]
    assert (scale.lowest, scale.highest, scale.lame, scale.severe) == (1, 5, 3, 4)
    assert "Theriogenology 47:1179" in scale.source
    # The British 0-3 mobility scale [common practice, no source]: lame at 2, severely at 3.
    british = locomotion.SCALES["0-3"]
    assert (british.lowest, british.highest, british.lame, british.severe) == (0, 3, 2, 3)
    assert not locomotion.is_lame(2, "1-5") and locomotion.is_lame(2, "0-3")


def test_whole_herd_visit() -> None:
    # Solano et al. 2016, J Dairy Sci 99:6828.
    assert visits.WHOLE_HERD_SHARE == 0.80


def test_horn_growth_and_length() -> None:
    # University of Kentucky, Hoof Trimming of Dairy Cows: 2 in a year, some 4 mm a month; 3 in after trimming.
    assert pytest.approx(2 * units.MM_PER_INCH / 12, rel=0.06) == horn.GROWTH_MM_PER_MONTH
    assert pytest.approx(3 * units.MM_PER_INCH, rel=0.02) == horn.TARGET_TOE_LENGTH_MM
    # Irish Vet J 2015, 68:10, table 2: 8 cm or more and an angle under 50 degrees.
    assert (horn.LONG_TOE_MM, horn.LONG_TOE_ANGLE_DEG) == (80, 50)


def test_order_of_shedding() -> None:
    # [common practice, no source]: the ulcer site first, then sole, heel, wall and toe.
    assert [name for name, _ in horn.SHEDDING_ORDER] == [
        "typical sole ulcer site", "rest of the sole", "heel", "abaxial wall and toe",
    ]  # fmt: skip
    assert horn.SHEDDING_ORDER[0][1] == (4,)
    assert sorted(horn.SHED_STAGES) == [0, 1, 2, 3, 4, 5]
    # 3/8 in, some 9.5 mm [common practice, no source].
    assert math.isclose(horn.TOE_BREAK_MM, 9.525)


def test_an_inch() -> None:
    # International yard and pound agreement, 1959.
    assert units.MM_PER_INCH == 25.4
    assert units.mm_to_inches(3.25 * 25.4) == pytest.approx(3.25)


@pytest.mark.parametrize(
    ("lesion", "housing", "value"),
    [
        ("any", "freestall", 0.464), ("any", "tie-stall", 0.257),
        ("DD", "freestall", 0.227), ("DD", "tie-stall", 0.093),
        ("SU", "freestall", 0.092), ("SU", "tie-stall", 0.047),
        ("SH", "freestall", 0.110), ("SH", "tie-stall", 0.077),
    ],
)  # fmt: skip
def test_ontario_prevalences(lesion: str, housing: str, value: float) -> None:
    # Cramer et al. 2008, J Dairy Sci 91:3888.
    (figure,) = published_figures.figures_for(lesion, housing=housing)
    assert figure.value == value and figure.source.citation == "J Dairy Sci 91:3888"


def test_other_published_figures() -> None:
    # Cramer et al. 2008, J Dairy Sci 91:3888.
    herds = published_figures.figures_for("DD", measure="herds affected")
    assert [figure.value for figure in herds] == [0.967, 0.697]
    spread = published_figures.figures_for(measure="variance between herds")
    assert [(f.family, f.low, f.high) for f in spread] == [("horn", 0.095, 0.173), ("infectious", 0.28, 0.387)]
    # Solano et al. 2016, J Dairy Sci 99:6828.
    trims = {f.lesion: f.value for f in published_figures.FIGURES if f.visits == "whole-herd"}
    assert trims == {"DD": 0.15, "SU": 0.06, "WL": 0.04}
    # Dolecheck et al. 2018, ADSA abstract M213; Bruijnis et al. 2010, J Dairy Sci 93:2419.
    costs = {f.lesion: (f.value, f.sd) for f in published_figures.figures_for(measure="cost") if f.lesion}
    assert costs == {"DD": (137, 36), "WL": (203, 33), "SU": (252, 39)}
    herd = [f.value for f in published_figures.figures_for(measure="cost") if f.source is published_figures.BRUIJNIS]
    assert herd == [95, 18, 4899]


def test_every_figure_names_its_source() -> None:
    for figure in published_figures.FIGURES:
        assert figure.source.name and figure.source.citation and figure.source.sample
        assert (figure.value is not None) != (figure.low is not None and figure.high is not None)
        assert figure.lesion in (None, published_figures.ANY_LESION, *lesions.LESIONS)


def test_meteorological_seasons() -> None:
    # Meteorological convention: winter is December to February in the north, June to August in the south.
    north, south = seasons.SEASON_OF_MONTH["north"], seasons.SEASON_OF_MONTH["south"]
    assert [month for month in range(1, 13) if north[month] == "winter"] == [1, 2, 12]
    assert [month for month in range(1, 13) if south[month] == "winter"] == [6, 7, 8]
    opposite = {"winter": "summer", "summer": "winter", "spring": "autumn", "autumn": "spring"}
    assert all(south[month] == opposite[north[month]] for month in range(1, 13))
