"""The report as a workbook: a sheet a table with real numbers and dates, native charts, and every column explained."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from evenfoot.analytics.messages import say
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.columns import COLUMNS, DAY, MONTH, NUMBER, SHARE, TEXT, WHOLE
from evenfoot.dashboard.report.contents import Contents
from evenfoot.dashboard.report.context_sections import basis_lines
from evenfoot.dashboard.report.first_page import summary_lines
from evenfoot.dashboard.report.sheets import Sheet, sheets_of

if TYPE_CHECKING:
    from xlsxwriter.workbook import Workbook  # type: ignore[import-untyped]
    from xlsxwriter.worksheet import Worksheet  # type: ignore[import-untyped]

FORMATS = {SHARE: "0.0%", WHOLE: "#,##0", NUMBER: "#,##0.00", DAY: "yyyy-mm-dd", MONTH: "yyyy-mm", TEXT: "@"}
WIDTHS = {SHARE: 12, WHOLE: 11, NUMBER: 13, DAY: 12, MONTH: 10, TEXT: 26}
CHART_ROWS = 12
"""Rows of lesions that a chart shows."""


def save_workbook(contents: Contents, out: Path) -> None:
    """Write the workbook.

    Cells are typed one by one: text is written as text whatever it begins with, so that nothing in a sheet can become
    a formula or a link.
    """
    import xlsxwriter  # type: ignore[import-untyped]

    words = Words(contents.request.language, contents.request.units)
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(str(out), options) as book:
        book.set_properties({"title": words("Foot report, {farm}", farm=contents.request.farm), "author": "Evenfoot"})
        _told(book, words("In short"), contents.request.farm, summary_lines(contents, words))
        tables = sheets_of(contents, words)
        charts = book.add_worksheet(words("Charts")) if tables else None
        names = {sheet.name: _written(book, sheet, words) for sheet in tables}
        if charts is not None:
            _draw(book, charts, {sheet.name: (names[sheet.name], sheet.table) for sheet in tables}, words)
        _explained(book, tables, words)
        _told(book, words("Method"), words("Method, records and cautions"), basis_lines(contents, words))


def _told(book: Workbook, name: str, title: str, lines: list[str]) -> None:
    sheet = book.add_worksheet(name)
    sheet.set_column(0, 0, 120, book.add_format({"text_wrap": True, "valign": "top"}))
    sheet.write_string(0, 0, title, book.add_format({"bold": True, "font_size": 14}))
    for row, line in enumerate(lines, start=2):
        sheet.write_string(row, 0, line)


def _written(book: Workbook, sheet: Sheet, words: Words) -> str:
    name = words(sheet.title)[:31]
    page = book.add_worksheet(name)
    head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
    for place, column in enumerate(sheet.table.columns):
        known = COLUMNS[str(column)]
        style = book.add_format({"num_format": FORMATS[known.sort], "valign": "top"})
        page.write_string(0, place, words(known.heading), head)
        page.set_column(place, place, WIDTHS[known.sort])
        for row, value in enumerate(sheet.table[column], start=1):
            _write(page, row, place, value, known.sort, style)
    page.freeze_panes(1, 1)
    page.autofilter(0, 0, len(sheet.table), len(sheet.table.columns) - 1)
    page.set_landscape()
    page.fit_to_pages(1, 0)
    page.repeat_rows(0)
    return name


def _write(page: Worksheet, row: int, column: int, value: Any, sort: str, style: Any) -> None:
    if value is None or value is pd.NaT or value is pd.NA or (isinstance(value, float) and not math.isfinite(value)):
        page.write_blank(row, column, None, style)
    elif sort in (DAY, MONTH):
        page.write_datetime(row, column, pd.Timestamp(value).to_pydatetime(), style)
    elif sort == TEXT:
        page.write_string(row, column, str(value), style)
    else:
        page.write_number(row, column, float(value), style)


def _draw(book: Workbook, page: Worksheet, sheets: dict[str, tuple[str, pd.DataFrame]], words: Words) -> None:
    """Native charts of lameness, lesions and the visits, one under the other."""
    row = 0
    if "locomotion" in sheets:
        name, table = sheets["locomotion"]
        chart = book.add_chart({"type": "line"})
        for column, marker, dash in (("lame_prevalence", "circle", "solid"), ("severe_prevalence", "square", "dash")):
            _series(chart, name, table, "period", column, words, marker, dash, limits=column.split("_")[0])
        row = _placed(page, chart, row, words("Share of scorings lame and severely lame"), words("Share"))
    if "lesions" in sheets:
        name, table = sheets["lesions"]
        chart = book.add_chart({"type": "bar"})
        _series(chart, name, table.head(CHART_ROWS), "lesion", "prevalence", words, "", "", limits="")
        chart.set_y_axis({"reverse": True})
        row = _placed(page, chart, row, words("Share of cows with each lesion"), "")
    if "signals" in sheets:
        name, table = sheets["signals"]
        chart = book.add_chart({"type": "line"})
        for column, dash in (("prevalence", "solid"), ("centre", "solid"), ("lower", "dash"), ("upper", "dash")):
            _series(chart, name, table, "month", column, words, "circle" if column == "prevalence" else "", dash)
        _placed(page, chart, row, words("Share of scorings lame and the limits"), words("Share"))


def _series(
    chart: Any,
    name: str,
    table: pd.DataFrame,
    across: str,
    column: str,
    words: Words,
    marker: str,
    dash: str,
    *,
    limits: str | None = None,
) -> None:
    """One series of a sheet's rows; with *limits* also its intervals, as error bars."""
    last = len(table)
    places = {str(each): place for place, each in enumerate(table.columns)}
    series: dict[str, Any] = {
        "name": words(COLUMNS[column].heading),
        "categories": [name, 1, places[across], last, places[across]],
        "values": [name, 1, places[column], last, places[column]],
    }
    if marker:
        series["marker"] = {"type": marker, "size": 5}
    if dash:
        series["line"] = {"dash_type": dash, "width": 1.5}
    if limits is not None:
        low, high = (f"{limits}_{end}" if limits else end for end in ("low", "high"))
        series["x_error_bars" if across == "lesion" else "y_error_bars"] = {
            "type": "custom",
            "plus_values": (table[high] - table[column]).fillna(0).tolist(),
            "minus_values": (table[column] - table[low]).fillna(0).tolist(),
        }
    chart.add_series(series)


def _placed(page: Worksheet, chart: Any, row: int, title: str, across: str) -> int:
    chart.set_title({"name": title, "name_font": {"size": 12}})
    chart.set_size({"width": 760, "height": 340})
    if across:
        chart.set_y_axis({"num_format": "0%", "min": 0, "name": across})
        chart.set_x_axis({"num_format": "yyyy-mm"})
    else:
        chart.set_x_axis({"num_format": "0%", "min": 0})
        chart.set_legend({"none": True})
    page.insert_chart(row, 0, chart, {"description": title})
    return row + 18


def _explained(book: Workbook, sheets: list[Sheet], words: Words) -> None:
    page = book.add_worksheet(words("Columns"))
    head = book.add_format({"bold": True, "bottom": 1})
    for place, (name, width) in enumerate(
        ((say("Sheet"), 24), (say("Column"), 30), (say("What it says"), 80), (say("Written as"), 16))
    ):
        page.set_column(place, place, width)
        page.write_string(0, place, words(name), head)
    row = 1
    for sheet in sheets:
        for column in sheet.table.columns:
            known = COLUMNS[str(column)]
            cells = (words(sheet.title), words(known.heading), words(known.meaning), words(known.sort))
            for place, said in enumerate(cells):
                page.write_string(row, place, said)
            row += 1
    page.freeze_panes(1, 0)
