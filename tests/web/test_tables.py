"""Any table of any page as CSV: read back with the csv module, cell by cell against the page in Chromium."""

from __future__ import annotations

import csv
import io
import re

import httpx
import pytest
from tests.web.test_livestock import built, reef  # noqa: F401 - fixtures

from leadline.web.pages.tables import as_csv, with_links

pytestmark = pytest.mark.door

PAGES = ["/system/great-reef", "/why/great-reef/salinity", "/systems/great-reef", "/course/great-reef/alkalinity",
         "/trace?sign=white-spots&place=great-reef", "/livestock/animal/old-tang"]  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_each_table_has_its_csv_with_the_same_cells(browser, reef, path):  # noqa: F811
    page = browser.new_page()
    page.goto(f"{reef.address}{path}" if hasattr(reef, "address") else str(reef.base_url).rstrip("/") + path)
    shown = page.evaluate("""() => [...document.querySelectorAll('main table')].map(t => [...t.rows].map(r =>
        [...r.cells].map(c => c.textContent.replace(/\\s+/g, ' ').trim())))""")
    links = [a.get_attribute("href") for a in page.query_selector_all(".to-csv a")]
    page.close()
    assert len(links) == len(shown)
    for cells, link in zip(shown, links, strict=True):
        answer = reef.get(link)
        assert answer.headers["content-type"] == "text/csv; charset=utf-8"
        found = list(csv.reader(io.StringIO(answer.text)))
        assert [len(r) for r in found] == [len(r) for r in cells]
        squeezed = [[re.sub(r"[\s;']", "", c) for c in row] for row in found]
        assert squeezed == [[re.sub(r"[\s;']", "", c) for c in row] for row in cells]


def test_a_cell_that_a_spreadsheet_would_run_is_made_harmless():
    text = '<table><tr><td>=1+1</td><td>@sum</td><td>−0.4 dKH</td><td>+0.01</td><td>a, "b"</td></tr></table>'
    assert next(csv.reader([as_csv(text, 1)])) == ["'=1+1", "'@sum", "−0.4 dKH", "+0.01", 'a, "b"']


@pytest.mark.parametrize("query", ["page=/why/great-reef/salinity&n=99", "page=/nowhere&n=1", "page=//x.invalid&n=1",
                                   "page=/table.csv&n=1", "n=x", "page=/system/great-reef&n=-1"])  # fmt: skip
def test_what_is_no_table_is_one_line(reef, query):  # noqa: F811
    answer: httpx.Response = reef.get(f"/table.csv?{query}")
    assert answer.status_code == (404 if "nowhere" in query else 422)
    assert 'class="error"' in answer.text


def test_links_name_the_page_and_the_number():
    text = with_links("<table></table><table></table>", "/why/a/b?x=1&y=2")
    assert text.count("to-csv") == 2
    assert "page=%2Fwhy%2Fa%2Fb%3Fx%3D1%26y%3D2&amp;n=2" in text
