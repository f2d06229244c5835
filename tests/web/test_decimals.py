"""Point and comma: whoever reads commas sees no point, and nothing that a program or a drawing reads changes."""

from __future__ import annotations

import csv
import html
import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from tests.web import house, pseudo
from tests.web.conftest import served
from tests.web.test_words import client, kept, sign_in, spoken  # noqa: F401

from leadline.measures.moments import FixedClock
from leadline.measures.words import ENGLISH
from leadline.store.sqlite import SqliteStore
from leadline.web import site

pytestmark = pytest.mark.door


SHOWN_WITH_A_MARK = (
    "/system/great-reef?minutes=30", "/course/great-reef/alkalinity?with=calcium", "/why/great-reef/alkalinity",
    "/journal?log=feeding&system=great-reef", "/livestock/quarantine/quarantine", "/watch", "/week/great-reef",
)  # fmt: skip
_AS_TYPED = re.compile(r"2\.7 dKH|64 − 18\.5")  # what the keeper typed, and a citation, stay as they are
_DRAWN = ("x", "y", "x1", "x2", "y1", "y2", "d", "points", "width", "height", "cx", "cy", "transform", "viewbox",
          "data-size", "data-start")  # fmt: skip


class Read(HTMLParser):
    """What a page says, and where its drawings and steps are."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.said: list[str] = []
        self.drawn: list[tuple[str, str]] = []
        self.feed(re.sub(r"<(script|style).*?</\1>", "", page, flags=re.DOTALL))

    def handle_starttag(self, tag, attrs):
        self.drawn += [(k, v) for k, v in attrs if k in _DRAWN]
        self.said += [v for k, v in attrs if k in ("value", "aria-label", "title") and v]

    def handle_data(self, data):
        self.said.append(data)


@pytest.mark.parametrize("path", SHOWN_WITH_A_MARK)
def test_who_reads_commas_sees_no_point_and_the_drawings_stay(spoken, path):  # noqa: F811
    with client(spoken) as point, client(spoken) as comma:
        comma.post("/me/wishes", data={"units": "", "decimal": ","})
        with_point, with_comma = (Read(c.get(path).text) for c in (point, comma))
    decimals = re.compile(r"\d\.\d")
    assert any(decimals.search(s) for s in with_point.said), "the page shows decimals at all"
    assert not [s for s in with_comma.said if decimals.search(_AS_TYPED.sub("", s))]
    assert with_comma.drawn == with_point.drawn


def test_the_mark_is_kept_and_what_programs_read_has_points(kept):  # noqa: F811
    with client(kept) as c, client(kept) as other:
        sign_in(c)
        assert c.post("/me/wishes", data={"units": "", "decimal": ";"}).status_code == 422
        c.post("/me/wishes", data={"units": "", "decimal": ","})
        sign_in(other)
        page = other.get("/course/great-reef/alkalinity").text
        assert 'data-decimal=","' in page
        assert re.search(r"\d,\d ± \d,\d dKH", page)
        cells = list(csv.reader(io.StringIO(other.get("/table.csv?page=/course/great-reef/alkalinity&n=1").text)))
        assert any(re.fullmatch(r"\d\.\d( ± \d\.\d)?( dKH)?", cell) for row in cells for cell in row)
        assert not any(re.search(r"\d,\d", cell.partition(" ")[0]) for row in cells[1:] for cell in row[1:])
        told = other.get("/api/systems/great-reef/estimate").json()
        assert not re.search(r"\d,\d", json.dumps(told))
        c.post("/me/wishes", data={"units": "", "decimal": "."})
        assert 'data-decimal="."' in other.get("/me").text


def test_a_comma_typed_by_who_reads_commas_is_the_same_entry(spoken):  # noqa: F811
    with client(spoken) as c:
        c.post("/me/wishes", data={"units": "", "decimal": ","})
        done = c.post("/system/great-reef/log", data={"quantity": "calcium", "value": "431,5", "unit": "mg/L",
                                                      "token": "comma-1"})  # fmt: skip
        assert "431,5 mg/L" in Read(done.text).said or "431,5 mg/L" in done.text
        assert c.get("/api/journal?kind=reading&most=1").json()["entries"][0]["value"] == 431.5


def test_what_is_filled_in_for_who_reads_commas_can_be_sent_back(spoken):  # noqa: F811
    with client(spoken) as c:
        c.post("/me/wishes", data={"units": "", "decimal": ","})
        logged = c.post("/journal/log", data={"system": "great-reef", "kind": "addition", "subject": "potassium-iodide",
                                              "value": "1,125", "unit": "g"})  # fmt: skip
        assert "1,125 g" in logged.text
        usual = c.get("/journal?log=addition&system=great-reef").text
        link = html.unescape(re.search(r'href="(/journal[^"]*potassium-iodide[^"]*)"', usual)[1])
        filled = re.search(r'name="value"[^>]*value="([^"]*)"', c.get(link).text)[1]
        assert filled == "1,125"
        again = c.post("/journal/log", data={"system": "great-reef", "kind": "addition", "subject": "potassium-iodide",
                                             "value": filled, "unit": "g"})  # fmt: skip
        assert again.status_code == 200
        kept = c.get("/api/journal?kind=addition&most=1").json()["entries"]  # the same moment: the same entry
        assert kept[0]["value"] == 1.125
    with client(spoken) as point:  # who reads points is asked: it may be a thousand
        asked = point.post("/journal/log", data={"system": "great-reef", "kind": "addition", "value": "1,125",
                                                 "subject": "potassium-iodide", "unit": "g"})  # fmt: skip
        assert "may be 1125 or 1.125" in html.unescape(asked.text)


def test_a_language_s_own_mark_holds_until_another_is_wished(demo_db):
    own = {"en": ENGLISH, "qps": replace(pseudo.tongues()["qps"], decimal=",")}
    clock = FixedClock(house.NOW)
    app = site.build(lambda: SqliteStore.open(demo_db, clock=clock), clock, tongues=own)
    with served(app) as address, client(address) as c:
        c.post("/me/wishes", data={"units": "", "decimal": "", "language": "qps"})
        assert 'data-decimal=","' in c.get("/me").text
        c.post("/me/wishes", data={"units": "", "decimal": ".", "language": "qps"})
        assert 'data-decimal="."' in c.get("/me").text
        c.post("/me/wishes", data={"units": "", "decimal": "", "language": "en"})
        assert 'data-decimal="."' in c.get("/me").text
