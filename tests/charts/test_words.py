"""Labels, numbers and descriptions: what is read out or written beside a mark."""

from __future__ import annotations

import pandas as pd
import pytest

from evenfoot.analytics.domain.feet import ZONES
from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.dashboard.charts.describe import describe
from evenfoot.dashboard.charts.foot_difference import zone_differences
from evenfoot.dashboard.charts.headings import COLUMNS
from evenfoot.dashboard.charts.labels import column_label, group_label, value_label
from evenfoot.dashboard.charts.theme import THEMES, css_variables, estimate, percent, ratio, template, tokens
from tests.charts import answers


def test_every_lesion_and_zone_has_a_name() -> None:
    for code in LESIONS:
        assert value_label("lesion", code) != code
    for zone in ZONES:
        assert value_label("zone", zone).startswith(f"Zone {zone}, ")


def test_headings_are_words() -> None:
    for column in COLUMNS:
        assert "_" not in column_label(column)
    assert column_label("never_seen_before") == "Never seen before"


@pytest.mark.parametrize(
    ("column", "value", "said"),
    [
        ("prevalence", 0.0874, "8.7%"),
        ("lame_prevalence", 0.2, "20.0%"),
        ("severe_high", 0.31, "31.0%"),
        ("lame", 12, "12"),
        ("severe", 3, "3"),
        ("at_risk", 12345, "12,345"),
        ("risk_ratio", 1.4234, "1.42"),
        ("or_high", float("inf"), "no upper limit"),
        ("p_value", 0.0451, "0.045"),
        ("p_value", 0.0000451, "under 0.001"),
        ("p_value", float("nan"), ""),
        ("month", pd.Timestamp("2026-03-01"), "Mar 2026"),
        ("visit_date", pd.Timestamp("2026-03-09"), "9 Mar 2026"),
        ("year", 2026, "2026"),
        ("zone", 4, "Zone 4, sole–bulb junction"),
        ("claw", None, ""),
        ("claw", pd.NA, ""),
        ("housing", "not recorded", "Not recorded"),
        ("housing", "straw yard", "Straw yard"),
        ("parity", "2", "Lactation 2"),
        ("cow", "0012", "0012"),
        ("mean_score", 2.345, "2.35"),
    ],
)
def test_cells_read_as_people_write_them(column: str, value: object, said: str) -> None:
    assert value_label(column, value) == said


def test_groups_are_named_whatever_they_are_grouped_by() -> None:
    assert group_label("bedded-pack") == "Bedded pack"
    assert group_label("2026-03") == "Mar 2026"
    assert group_label("2026-Q1") == "2026-Q1"


def test_nothing_is_not_a_number() -> None:
    assert percent(None) == percent(float("nan")) == ratio(None) == "not known"
    assert "not known" in estimate(0, 0, float("nan"), float("nan"))


KINDS = {
    "prevalence": answers.lesions(),
    "trend": answers.control_chart(),
    "foot": answers.feet(),
    "difference": zone_differences(answers.feet(), answers.feet()),
    "locomotion": answers.scorings(),
    "transitions": answers.transitions(),
    "comparison": answers.compared(),
    "ratios": answers.compared(adjusted=True),
}


@pytest.mark.parametrize("kind", KINDS)
def test_charts_are_said_with_basis(kind: str) -> None:
    text = describe(kind, KINDS[kind])
    assert "263 cows, 6 visits, 9 Jan 2024 to 31 Mar 2026; 95% intervals." in text
    assert text.endswith(".")
    assert "<" not in text and "_" not in text and "nan" not in text


@pytest.mark.parametrize("kind", KINDS)
def test_an_empty_answer_is_said_by_its_caution(kind: str) -> None:
    answer = KINDS[kind]
    empty = Answer(answer.name, answer.table.iloc[:0], Basis(), (answers.NOTHING,), answer.by)
    assert describe(kind, empty) == answers.NOTHING


def test_what_is_said_is_what_is_in_the_table() -> None:
    said = describe("prevalence", answers.lesions())
    assert "Commonest: Heel horn erosion: 77 of 263 cows, 29.3% (24.1–35.0%)" in said
    said = describe("transitions", answers.transitions())
    assert "75.0% stayed, 14.3% got worse, 10.7% got better." in said
    assert "No zone differs clearly" in describe("difference", KINDS["difference"])
    assert "Highest in Jan 2025: 32.5%" in describe("locomotion", answers.scorings())


def test_a_review_names_what_is_clear() -> None:
    table = pd.DataFrame(
        {
            "what": ["lame", "DD"],
            "difference": [0.08, -0.01],
            "low": [0.02, -0.06],
            "high": [0.14, 0.04],
            "verdict": ["worse", "no-clear-change"],
        }
    )
    said = describe("review", Answer("summary", table, answers.BASIS, (), ("what",)))
    assert "Worse: Lame 8.0% (2.0% to 14.0%)." in said
    assert "Digital" not in said


def test_an_unknown_chart_is_a_mistake() -> None:
    with pytest.raises(UserError, match="no chart 'pie'"):
        describe("pie", answers.lesions())


def luminance(colour: str) -> float:
    """Relative luminance. [pub: W3C, Web Content Accessibility Guidelines 2.2]"""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("theme", THEMES)
def test_text_stands_out_from_its_ground(theme: str) -> None:
    """4.5 to 1 for text, 3 to 1 for the first four series. [pub: WCAG 2.2, 1.4.3 and 1.4.11]"""
    t = tokens(theme)
    for ground in (t.ground, t.raised):
        for ink in (t.ink, t.muted, t.accent):
            assert contrast(ink, ground) >= 4.5
        for colour in t.series[:4]:
            assert contrast(colour, ground) >= 3.0
    assert contrast(t.accent, t.on_accent) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
def test_style_sheets_and_charts_share_their_colours(theme: str) -> None:
    css = css_variables(theme)
    assert f"--accent: {tokens(theme).accent};" in css
    assert f"--series-1: {tokens(theme).series[0]};" in css
    assert template(theme)["layout"]["paper_bgcolor"] == tokens(theme).raised


def test_an_unknown_theme_is_a_mistake() -> None:
    with pytest.raises(UserError, match="no theme 'neon'"):
        tokens("neon")
