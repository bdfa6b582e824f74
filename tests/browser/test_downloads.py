"""What is taken along opens elsewhere and says what the command says."""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Browser

from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.ui.tables import print_table
from tests.browser.addresses import address
from tests.browser.reading import Reader, returning, saved

pytestmark = pytest.mark.long

COMMANDS: dict[str, tuple[str, str, dict[str, Any]]] = {
    "/lesions": ("lesion-types", "prevalence", {"by": "lesion"}),
    "/locomotion": ("locomotion-trend", "locomotion", {"by": "month"}),
    "/comparison": ("comparison-risks", "comparison", {"by": "housing"}),
}
"""Page -> panel, and the measure and options of the command that says the same."""


@pytest.fixture(scope="module")
def reader(browser: Browser, standing: tuple[str, Path]) -> Iterator[Reader]:
    tab = Reader(browser, standing[0], 1280, context=returning(browser))
    tab.open("/nowhere")
    yield tab
    tab.close()


@pytest.mark.parametrize("page_path", list(COMMANDS))
def test_the_numbers_are_those_of_the_command(
    reader: Reader, demo_ledger: Ledger, page_path: str, capsys: pytest.CaptureFixture[str]
) -> None:
    panel, measure, options = COMMANDS[page_path]
    reader.follow(address(page_path) + "&certainty=always")
    take = reader.page.locator(f'section[aria-labelledby="title-{panel}"] a.take[download$=".csv"]').first
    text = saved(reader, take).decode("utf-8-sig")
    capsys.readouterr()
    print_table(
        measure, demo_ledger.name, farms=["Nether Ash"], since=None, until=None, visits="whole-herd", lesions=(),
        hemisphere="north", format="csv", options=options,
    )  # fmt: skip
    page_rows, command_rows = (list(csv.reader(io.StringIO(each))) for each in (text, capsys.readouterr().out))
    # The page calls what is compared by its name (housing), the command calls it the group: every figure is the same.
    assert len(page_rows) > 1 and page_rows[1:] == command_rows[1:]
    assert [name for name in page_rows[0] if name != "housing"] == [n for n in command_rows[0] if n != "group"]


def test_pictures_open(reader: Reader) -> None:
    reader.follow("/lesions?farms=Larkmoor&certainty=always")
    panels = reader.page.locator("section.panel:has(.takeaway button)")
    for place in range(panels.count()):
        panel = panels.nth(place)
        chart = panel.locator(".js-plotly-plot").first.bounding_box()
        assert chart
        with Image.open(io.BytesIO(saved(reader, panel.get_by_role("button", name="PNG")))) as picture:
            picture.load()
            assert picture.format == "PNG" and abs(picture.width - 2 * chart["width"]) <= 4
            assert len(picture.convert("RGB").getcolors(1 << 24) or ()) > 8, "there is something on it"
        drawing = ET.fromstring(saved(reader, panel.get_by_role("button", name="SVG")))
        assert drawing.tag.endswith("svg") and sum(1 for _ in drawing.iter("{http://www.w3.org/2000/svg}text")) > 3
    assert panels.count() > 2 and not reader.told()
