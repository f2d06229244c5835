"""Every page there is, in every light, on the phone and at the desk: axe (WCAG 2.2 AA), sizes, labels, tab order.

The list of pages is held against the routes themselves: a page that nobody named here fails the first test. Pictures
of each page in each light are kept as artefacts of the run.
"""

from __future__ import annotations

import re

import httpx
import pytest
from tests.web import house
from tests.web.conftest import served
from tests.web.looking import PICTURES, WIDTHS, violations
from tests.web.test_doors import WORDS
from tests.web.test_set_up import OLD, SMALL, everything_on

from leadline.app import accounts
from leadline.measures.moments import FixedClock
from leadline.store.secrets import Secrets
from leadline.store.sqlite import SqliteStore
from leadline.web import site
from leadline.web.doors import KeptDoors
from leadline.wiring import make_signals

pytestmark = pytest.mark.door

PAGES = {  # route: an address of it over the demo
    "/": "/",
    "/system/{system}": "/system/great-reef?minutes=30",
    "/course/{system}/{quantity}": "/course/great-reef/alkalinity?with=calcium",
    "/why/{system}/{quantity}": "/why/great-reef/alkalinity",
    "/journal": "/journal?log=feeding&system=great-reef",
    "/journal/entry/{entry}": "/journal/entry/ENTRY",
    "/livestock": "/livestock",
    "/livestock/check": "/livestock/check?kind=Chelmon+rostratus&system=great-reef",
    "/livestock/animal/{animal}": "/livestock/animal/button-polyps",
    "/livestock/{system}/quarantine": "/livestock/quarantine/quarantine",
    "/livestock/catalogue": "/livestock/catalogue?name=pest/acropora-flatworm",
    "/livestock/fallow": "/livestock/fallow?system=great-reef&pest=marine-white-spot",
    "/trace": "/trace?sign=white-spots&place=great-reef",
    "/watch": "/watch",
    "/watch/orders": "/watch/orders",
    "/week": "/week",
    "/week/{system}": "/week/great-reef",
    "/calendar": "/calendar",
    "/system/{system}/labels": "/system/great-reef/labels",
    "/at/{system}/{kind}/{id}": "/at/great-reef/equipment/skimmer-1",
    "/systems": "/systems",
    "/systems/new": "/systems/new",
    "/systems/{system}": "/systems/great-reef?part=band",
    "/systems/{system}/volume": "/systems/great-reef/volume?dosed=60&rose_from=7.5+dKH&rose_to=9.4+dKH",
    "/import": "/import",
    "/import/{ident}": "IMPORT",
    "/import/parked": "/import/parked",
    "/me": "/me",
    "/people": "/people",
    "/share": "/share?page=/system/great-reef",
    "/shared/{secret}": "SHARED",
    "/api": "/api",
    "/sign-in": "/sign-in",
    "/come-in/{secret}": "COME-IN",
    "/offline": "/offline",
}
NO_PAGES = re.compile(  # data, pictures, forms' addresses that lead back, and the demo's mailbox
    r"/(api/.*|health|metrics|sw\.js|manifest\.webmanifest|table\.csv|mailbox|seen/.*|livestock/(seen|arrive|bring)"
    r"|livestock/photo/.*|me/.+|people/.+|watch/(acknowledge|shelve|unshelve|work|prove)|watch/orders/.+"
    r"|systems/\{system\}/(part|drop|undo|whole)|import/\{ident\}/done|calendar/(make|revoke)|journal/(log|correct)"
    r"|journal/entry/\{entry\}/.+|.*\.(csv|json|ics|toml))$"
)
TAB_ORDER = """() => {
  const all = [...document.querySelectorAll(
    'a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex]')]
    .filter(e => e.offsetParent && e.tabIndex >= 0 && !e.disabled);
  const wrong = all.filter(e => e.tabIndex > 0).map(e => 'tabindex ' + e.outerHTML.slice(0, 80));
  const bare = [...document.querySelectorAll('input:not([type=hidden]), select, textarea')]
    .filter(e => e.offsetParent && !e.labels?.length && !e.getAttribute('aria-label'))
    .map(e => 'no label ' + e.outerHTML.slice(0, 80));
  const heads = document.querySelectorAll('h1').length;
  return [...wrong, ...bare, ...(heads === 1 ? [] : [heads + ' first headings']),
    ...(document.title && document.documentElement.lang ? [] : ['no title or language'])];
}"""


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The demo with an owner, a shared page, an invitation and a file that waits; addresses for each page."""
    folder = tmp_path_factory.mktemp("audit")
    path, clock = house.built(folder), FixedClock(house.NOW)
    with SqliteStore.open(path, clock=clock) as store:
        accounts.make(store, clock, "Ada", "owner", WORDS)
        come_in = accounts.invite(store, clock, "Siv", "sitter")
        shared = accounts.share(store, clock, "ada", "/system/great-reef", "lagoon", 7)
        entry = store.entries("great-reef")[-1].id
    app = site.build(
        lambda: SqliteStore.open(path, clock=clock), clock, doors=KeptDoors(clock),
        signals_of=lambda s: make_signals(s, str(path)), secrets=Secrets.beside(path),
    )  # fmt: skip
    with served(app) as address, httpx.Client(base_url=address, timeout=60, headers={"origin": address}) as client:
        signed = client.post("/sign-in", data={"name": "Ada", "passphrase": WORDS})
        assert signed.status_code == 303
        sent = client.post("/import", files={"file": ("old.csv", OLD.encode())}, data={"system": "great-reef"})
        waits = sent.headers["location"]
        asked = client.get(waits)
        client.post(waits, data={**everything_on(asked.text), "dates": "day-first", "do": "look"})
        found = {
            "IMPORT": waits,
            "SHARED": f"/shared/{shared}",
            "COME-IN": f"/come-in/{come_in}",
            "SIGN-IN": "/sign-in",
        }
        yield address, client.cookies["leadline"], {
            r: found.get(a, a).replace("ENTRY", entry) for r, a in PAGES.items()
        }  # fmt: skip


def test_every_page_there_is_stands_in_the_list():
    routes = {w.path for w in site.ways() if "GET" in w.methods}
    assert {r for r in routes if not NO_PAGES.match(r)} == set(PAGES)


@pytest.mark.parametrize(
    ("width", "light"),
    [("phone", "day"), ("phone", "dusk"), ("phone", "night"), ("desk", "day"), ("desk", "dusk"), ("desk", "night")],
)
def test_every_page_in_this_light(browser, whole, width, light):
    address, session, pages = whole
    context = browser.new_context(
        viewport=dict(zip(("width", "height"), WIDTHS[width], strict=True)), bypass_csp=True, service_workers="block"
    )
    context.add_cookies([{"name": "light", "value": light, "url": address}])
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda m: said.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda e: said.append(str(e)))
    wrong = {}
    for route, path in pages.items():
        context.clear_cookies(name="leadline")
        if route not in ("/sign-in", "/come-in/{secret}", "/shared/{secret}"):
            context.add_cookies([{"name": "leadline", "value": session, "url": address}])
        said.clear()
        answer = page.goto(address + path, wait_until="load")
        found = [] if answer.status == 200 else [f"status {answer.status}"]
        found += page.evaluate(TAB_ORDER) + page.evaluate(SMALL)
        if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
            found.append("wider than the screen")
        found += [f"{rule}: {element}" for rule, element in violations(page)]
        if found or said:
            wrong[route] = found + said
        PICTURES.mkdir(exist_ok=True)
        name = re.sub(r"[^a-z]+", "-", route.replace("{", "").replace("}", "")).strip("-") or "all"
        page.screenshot(path=PICTURES / f"page-{name}-{width}-{light}.png", full_page=True)
    context.close()
    assert wrong == {}
