"""The report says what the measures say, in both languages, for herds of every sort, and names no other farm."""

from __future__ import annotations

import datetime as dt
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.measures.planning.visit_review import THIS, visit_review
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.i18n import translation as language
from evenfoot.dashboard.i18n.catalogue import catalogue
from evenfoot.dashboard.report.contents import Contents, collect
from evenfoot.dashboard.report.document import document
from evenfoot.dashboard.report.request import SECTIONS, Request, Sender
from tests.effort import some
from tests.report.made import DAY, herd, plain
from tests.sheets import checked, ledger_of

pytestmark = pytest.mark.long

FARM = "Nether Ash"


@pytest.fixture(scope="module")
def contents(demo_ledger: Ledger) -> Contents:
    return collect(demo_ledger, Request(FARM, sections=SECTIONS))


class Outline(HTMLParser):
    """Checks that tags close in the order they open, and gathers headings and references."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in ("meta", "img"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def outline(page: str) -> Outline:
    parser = Outline()
    parser.feed(re.sub(r"<(line|circle|polygon|polyline)([^>]*)/>", r"<\1\2></\1>", page))
    assert parser.open == []
    return parser


def test_every_section_stands_under_its_heading_in_order(contents: Contents) -> None:
    parser = outline(document(contents))
    named = [attrs["id"] for tag, attrs in parser.tags if tag == "section"]
    farmers = ["summary", "cows"]
    assert named == [*farmers, "more", *(name for name in SECTIONS if name not in (*farmers, "remarks", "agreed"))]
    assert named[-1] == "basis"
    assert [tag for tag, _ in parser.tags if tag in ("h1", "h2")] == ["h1"] + ["h2"] * len(named)


def test_figures_are_those_of_the_measures(demo_ledger: Ledger, contents: Contents) -> None:
    said = plain(document(contents))
    review = visit_review(demo_ledger, Selection(farms=(FARM,))).table
    now = review[review["visit"] == THIS]
    whole = now[now["lesion"] == "any"].iloc[0]
    assert f"Any lesion: {whole['cases']} of {whole['at_risk']} cows trimmed, " in said
    share = f"{100 * whole['prevalence']:.1f}% ({100 * whole['low']:.1f}\u2013{100 * whole['high']:.1f})"
    assert f"Any lesion {whole['cases']}: {share}" in said
    period = Selection(farms=(FARM,), since=contents.since, until=contents.until)
    for row in prevalence(demo_ledger, period).table.nlargest(5, "cases").to_dict("records"):
        share = f"{100 * row['prevalence']:.1f}% ({100 * row['low']:.1f}\u2013{100 * row['high']:.1f})"
        assert f"{row['cases']} {share}" in said


def test_nothing_is_fetched_and_nothing_runs(contents: Contents) -> None:
    page = document(contents)
    for tag, attrs in outline(page).tags:
        assert tag not in ("script", "link", "iframe", "object", "embed")
        assert not any(name.startswith("on") for name in attrs)
        for name in ("src", "href", "xlink:href"):
            assert (attrs.get(name) or "data:").startswith("data:")
    assert "url(" not in page
    assert "default-src 'none'" in page


def test_drawings_speak_or_are_left_out_for_those_who_cannot_see_them(contents: Contents) -> None:
    drawings = [attrs for tag, attrs in outline(document(contents)).tags if tag == "svg"]
    assert len(drawings) > 10
    for attrs in drawings:
        spoken = attrs.get("role") == "img" and len(attrs.get("aria-label") or "") > 20
        assert spoken != (attrs.get("aria-hidden") == "true")


@pytest.mark.parametrize("farm", some(["Withy Flat", "Larkmoor", "Long Heath", "Nether Ash", "Osier End"]))
def test_a_report_names_no_other_farm(demo_ledger: Ledger, farm: str) -> None:
    said = plain(document(collect(demo_ledger, Request(farm))))
    assert farm in said
    for other in set(demo_ledger.farms()) - {farm}:
        assert other not in said


def test_spanish_leaves_nothing_in_english(demo_ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every template that the reports of the demo herds use has a Spanish one."""
    missing: set[str] = set()
    fill = language.Words.__call__

    def noting(self: language.Words, template: str, **values: object) -> str:
        if not self.knows(template):
            missing.add(template)
        return fill(self, template, **values)

    monkeypatch.setattr(language.Words, "__call__", noting)
    for farm in demo_ledger.farms():
        page = document(collect(demo_ledger, Request(farm, language="es", sections=SECTIONS)))
        assert '<html lang="es">' in page
        assert ">Locomoción<" in page
    assert missing == set()


def test_spanish_templates_fill_with_the_same_values() -> None:
    for english, spanish in catalogue("es").items():
        assert set(re.findall(r"\{(\w+)", english)) == set(re.findall(r"\{(\w+)", spanish)), english


def test_languages_write_numbers_their_own_way() -> None:
    en, es = language.Words("en"), language.Words("es")
    assert (en.number(12345.6, 1), es.number(12345.6, 1)) == ("12,345.6", "12.345,6")
    assert (en.points(-0.051), es.points(-0.051)) == ("\u22125.1", "\u22125,1")
    assert es.date(dt.date(2026, 10, 12)).replace("\u00a0", " ") == "12 oct 2026"


def test_inches_change_lengths_and_nothing_else(demo_ledger: Ledger) -> None:
    mm, inches = (plain(document(collect(demo_ledger, Request(FARM, units=unit)))) for unit in ("mm", "in"))
    found = re.search(r"Toe length as found ([\d.]+) \(", mm)
    other = re.search(r"Toe length as found ([\d.]+) \(", inches)
    assert found and other
    assert float(found[1]) / 25.4 == pytest.approx(float(other[1]), abs=0.01)
    assert "Horn, lengths in inches" in inches
    angle = re.search(r"Toe angle, degrees ([\d.]+)", mm)
    assert angle and f"Toe angle, degrees {angle[1]}" in inches


def test_one_cow_is_told_with_how_unsure_it_is(tmp_path: Path) -> None:
    """1 of 1: Wilson limits 20.7 to 100 % [pub: Newcombe 1998, Stat Med 17:857, the formula]."""
    said = plain(document(collect(herd(tmp_path / "one.duckdb", "One", 1, lesions=1), Request("One"))))
    assert "Any lesion: 1 of 1 cows trimmed, " in said
    assert "Any lesion 1: 100.0% (20.7\u2013100.0)" in said
    assert "Too few to say. There is no earlier visit of the same kind to compare with." in said
    assert "Not enough to say much about the herd" in said


def test_a_clean_herd_is_said_to_be_clean_with_its_interval(tmp_path: Path) -> None:
    """0 of 20: Wilson limits 0 to 16.1 % [pub: Newcombe 1998, Stat Med 17:857, table]."""
    said = plain(document(collect(herd(tmp_path / "clean.duckdb", "Clean", 20), Request("Clean"))))
    assert "Any lesion 0: 0.0% (0.0\u201316.1)" in said
    assert "No lesion was recorded in this period." in said


def test_without_whole_herd_visits_the_bias_is_told(tmp_path: Path) -> None:
    ledger = herd(tmp_path / "calls.duckdb", "Calls", 12, lesions=12)
    rows = ledger.frame("SELECT * FROM trim_rows")
    assert len(rows) == 12
    calls = ledger_of(
        tmp_path / "lame.duckdb",
        checked(
            "trims",
            [{"visit_date": DAY, "farm": "Calls", "cow": str(n), "visit_kind": "lame-cow", "lesion": "SU", "foot": "LH"}
             for n in range(12)],
        ),
    )  # fmt: skip
    said = plain(document(collect(calls, Request("Calls"))))
    assert "There is no whole-herd visit" in said
    assert "overstate how common lesions are in the herd" in said


def test_names_and_remarks_cannot_become_markup(tmp_path: Path) -> None:
    nasty = "<b>& \"Sons' </style><script>alert(1)</script>"
    ledger = herd(tmp_path / "nasty.duckdb", nasty, 3, lesions=1)
    sender = Sender(nasty, f"{nasty}\n{nasty}")
    page = document(collect(ledger, Request(nasty, remarks=nasty, trimmer=sender, owner=sender)))
    assert "<script" not in page
    assert "<b>" not in page
    assert page.count("</style>") == 1
    outline(page)
    assert nasty in plain(page).replace("  ", " ")


def test_a_farm_without_trims_or_scores_is_a_mistake(tmp_path: Path) -> None:
    ledger = ledger_of(
        tmp_path / "housed.duckdb",
        checked("housing", [{"farm": "Empty", "starts_on": "2026-01-01", "housing": "freestall"}]),
    )
    with pytest.raises(UserError, match="nothing to report"):
        collect(ledger, Request("Empty"))


def test_only_the_farms_a_reader_may_see_are_counted(demo_ledger: Ledger) -> None:
    made = collect(demo_ledger, Request(FARM, allowed=(FARM,)))
    assert set(made.answers["benchmark"].table["farm"]) <= {FARM}
    with pytest.raises(UserError, match="nothing to report"):
        collect(demo_ledger, Request(FARM, allowed=("Larkmoor",)))


@pytest.mark.parametrize(
    "wrong", [{"language": "xx"}, {"units": "ell"}, {"paper": "A3"}, {"sections": ("moon",)}], ids=str
)
def test_what_cannot_be_is_refused_in_a_sentence(demo_ledger: Ledger, wrong: dict[str, str]) -> None:
    with pytest.raises(UserError):
        document(collect(demo_ledger, Request(FARM, **wrong)))  # type: ignore[arg-type]


def test_sections_left_out_are_not_there(demo_ledger: Ledger) -> None:
    page = document(collect(demo_ledger, Request(FARM, sections=("summary", "remarks"), remarks="Well kept.")))
    assert [attrs["id"] for tag, attrs in outline(page).tags if tag == "section"] == ["summary", "remarks", "basis"]
    assert "Well kept." in plain(page)
