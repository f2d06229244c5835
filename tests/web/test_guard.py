"""What keeps a page to itself: headers, no other host, vendored files that are what they say."""

import hashlib
import pathlib
import re
import tomllib
from urllib.parse import urlsplit

import pytest

ROOT = pathlib.Path(__file__).parents[2]
PAGES = ("/", "/system/north-room", "/system/lagoon", "/nowhere")


@pytest.mark.door
@pytest.mark.parametrize("path", PAGES)
def test_every_answer_carries_the_headers(reef, path):
    headers = reef.client.get(path).headers
    assert headers["content-security-policy"].startswith("default-src 'self'")
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["cache-control"] == "no-store"


@pytest.mark.door
@pytest.mark.parametrize("path", PAGES)
def test_no_page_names_another_host_or_runs_inline_code(reef, path):
    text = reef.client.get(path).text
    assert re.findall(r"(?:https?:)?//[a-z0-9]", text) == []
    assert "style=" not in text
    assert "<style" not in text
    assert re.findall(r"<script(?![^>]*src=)", text) == []
    assert re.findall(r"\son[a-z]+=", text) == []


def test_no_style_sheet_or_script_of_ours_names_another_host():
    files = [f for f in (ROOT / "src/leadline/web/static").glob("*.*") if f.suffix != ".png"]
    for file in files:
        text = re.sub(r'xmlns="[^"]*"', "", file.read_text())
        assert re.findall(r"https?://|url\(", text) == [], file.name


@pytest.mark.door
@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://elsewhere.example"}, {"sec-fetch-site": "cross-site"}, {"sec-fetch-site": "same-site"},
        {"origin": "null"},
    ],
)  # fmt: skip
def test_a_form_from_another_site_writes_nothing(reef, headers):
    before = len(reef.store.by_id)
    data = {"quantity": "salinity", "value": "35", "unit": "psu"}
    answer = reef.client.post("/system/north-room/log", data=data, headers=headers)
    assert answer.status_code == 403
    assert len(reef.store.by_id) == before


@pytest.mark.door
def test_a_form_of_our_own_is_let_through(reef):
    data = {"quantity": "salinity", "value": "35", "unit": "psu"}
    headers = {"origin": reef.address, "sec-fetch-site": "same-origin"}
    assert reef.client.post("/system/north-room/log", data=data, headers=headers).status_code == 200


@pytest.mark.door
def test_a_light_is_remembered_and_sends_nobody_to_another_host(reef):
    answer = reef.client.post("/light", data={"light": "night", "here": "/system/lagoon?minutes=5"})
    assert (answer.url.path, answer.url.query) == ("/system/lagoon", b"minutes=5")
    assert 'data-light="night"' in answer.text
    assert "data-light" not in reef.client.post("/light", data={"light": ""}).text
    for here in (
        "http://elsewhere.example/x",
        "//elsewhere.example/x",
        "/\\elsewhere.example",
        "\\x",
        "/a\r\nx: y",
        "",
    ):
        sent = reef.client.post("/light", data={"light": "day", "here": here}, follow_redirects=False)
        assert re.match(r"/(?![/\\])", sent.headers["location"]), here
        assert "elsewhere.example" not in urlsplit(sent.headers["location"]).netloc
    assert "data-light" not in reef.client.post("/light", data={"light": '"><b>'}).text


@pytest.mark.door
def test_a_huge_form_is_turned_away(reef):
    answer = reef.client.post("/system/north-room/log", data={"value": "9" * 100_000})
    assert answer.status_code == 413


@pytest.mark.parametrize("folder", ["src/leadline/web/static/vendor", "tests/vendor"])
def test_vendored_files_are_what_they_say(folder):
    here = ROOT / folder
    said = tomllib.loads((here / "VENDORED.toml").read_text())["file"]
    for file in said:
        assert hashlib.sha256((here / file["path"]).read_bytes()).hexdigest() == file["sha256"], file["path"]
        assert file["licence"]
        assert file["version"] in file["path"]
    assert {f["path"] for f in said} | {"VENDORED.toml"} == {p.name for p in here.iterdir()}
