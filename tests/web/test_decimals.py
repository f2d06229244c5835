"""Point and comma: whoever reads commas sees no point, and nothing that a program or a drawing reads changes."""

from __future__ import annotations

import csv
import io
import json
import re
from html.parser import HTMLParser

import pytest
from tests.web.test_words import client, kept, sign_in, spoken  # noqa: F401

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
