"""What comes back in a page, and what a browser keeps: markup in every field, drafts of whoever signed out."""

from __future__ import annotations

import re

import pytest
from tests.web.test_doors import WORDS, house  # noqa: F401 - a fixture

from leadline.web import site

pytestmark = pytest.mark.door
HOOK = '"><img src=x onerror=alert(1)>'
HOOKED = """
[system]
id = "lagoon"
name = "Reef {hook}"
time_zone = "Europe/Oslo"
net_volume = "400 L"
note = "{hook}"

[[stream]]
id = "t{hook}"
quantity = "temperature"
unit = "degC"
period = "60 s"

[[equipment]]
id = "p{hook}"
kind = "return-pump"
name = "{hook}"
""".replace("{hook}", HOOK.replace('"', '\\"'))


def test_nothing_that_was_typed_is_markup_in_any_page(house):  # noqa: F811
    owner = house.person(f"Ada {HOOK}", "owner")
    owner.post("/systems/lagoon/whole", data={"document": HOOKED})
    typed = {"subject": HOOK, "note": HOOK, "method": HOOK, "value": "1", "unit": "g"}
    for kind in ("note", "observation", "service", "feeding", "addition"):
        owner.post("/journal/log", data={"system": "lagoon", "kind": kind, **typed})
    owner.post("/livestock/arrive", data={"kind": HOOK, "name": HOOK, "system": "lagoon", "note": HOOK, "count": "1"})
    owner.post("/me/token", data={"name": HOOK, "right": "view"})
    owner.post("/people/invite", data={"name": HOOK, "role": "reader"})
    sent = owner.post("/import", files={"file": (f"{HOOK}.csv", f"{HOOK},date\n{HOOK},2025-01-01\n".encode())})
    paths = [sent.headers.get("location", "/import")]
    for w in site.ways():
        if "GET" in w.methods:
            paths.append(re.sub(r"\{[^}]*\}", "lagoon", w.path))
    hooked = 0
    for path in paths:
        for more in ({}, {"q": HOOK, "done": HOOK, "to": HOOK, "page": HOOK, "said": HOOK, "form": HOOK, "note": HOOK,
                          "value": HOOK, "kind": HOOK, "system": HOOK, "place": HOOK, "sign": HOOK}):  # fmt: skip
            seen = owner.get(path, params=more)
            if seen.headers.get("content-type", "").startswith("text/html"):
                assert "<img src=x" not in seen.text, path
                hooked += "&lt;img src=x" in seen.text
    assert hooked > 10
    for path in ("/people/invite", "/me/token", "/people/role", "/journal/log", "/sign-in"):
        answer = owner.post(path, data={"name": HOOK, "role": HOOK, "right": HOOK, "account": HOOK, "kind": HOOK,
                                        "system": HOOK, "to": HOOK})  # fmt: skip
        assert "<img src=x" not in answer.text, path


def test_a_draft_is_of_whoever_typed_it_and_goes_when_they_sign_out(browser, house):  # noqa: F811
    for name, role in (("Ada", "owner"), ("Siv", "sitter"), ("Kari", "keeper")):
        house.person(name, role)
    context = browser.new_context(base_url=house.address)
    page = context.new_page()

    def sign_in(name):
        page.goto("/sign-in")
        page.fill("#name", name)
        page.fill("#passphrase", WORDS)
        page.click("main button.send")
        page.wait_for_url(lambda url: "/sign-in" not in url)

    def drafts():
        return page.evaluate("Object.entries(localStorage).map((e) => e.join(' ')).join(' ')")

    sign_in("Siv")
    page.goto("/journal?log=note&system=lagoon")
    page.fill("[name=note]", "the heron stood in the sump")
    assert "heron" in drafts()
    context.clear_cookies()  # her session ended: what she typed waits for her alone
    sign_in("Kari")
    page.goto("/journal?log=note&system=lagoon")
    assert page.input_value("[name=note]") == ""
    assert page.query_selector(".draft") is None
    page.goto("/offline")
    assert "heron" not in page.inner_text("body")
    context.clear_cookies()
    sign_in("Siv")
    page.goto("/journal?log=note&system=lagoon")
    assert page.input_value("[name=note]") == "the heron stood in the sump"
    page.goto("/me")
    page.click("main form[action='/sign-out'] >> nth=0")
    page.wait_for_url("**/sign-in")
    assert "heron" not in drafts()
    page.go_back()
    page.wait_for_url("**/sign-in?to=*")  # nothing of hers is shown again by going back
    context.close()
