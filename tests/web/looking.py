"""Pages in Chromium: at phone and desk width, in a light, judged by axe and kept as pictures."""

from __future__ import annotations

import contextlib
import pathlib

PICTURES = pathlib.Path(__file__).parents[2] / "artefacts"
AXE = (pathlib.Path(__file__).parents[1] / "vendor" / "axe-4.14.1.min.js").read_text()
WIDTHS = {"phone": (390, 844), "desk": (1280, 900)}
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@contextlib.contextmanager
def in_light(browser, address, light, width, **more):
    """A page of its own visitor, at one of `WIDTHS`, in a light."""
    context = browser.new_context(viewport=dict(zip(("width", "height"), WIDTHS[width], strict=True)), **more)
    context.add_cookies([{"name": "light", "value": light, "url": address}])
    try:
        yield context.new_page()
    finally:
        context.close()


def violations(page):
    """What axe finds on a page: rule and element."""
    page.evaluate(AXE)
    found = page.evaluate("tags => axe.run(document, {runOnly: tags})", WCAG)
    assert len(found["passes"]) > 10  # it did look
    return [(v["id"], v["nodes"][0]["html"][:200]) for v in found["violations"]]


def well_made(page, picture):
    """A picture of the page, which axe finds no fault with and which is no wider than its window."""
    PICTURES.mkdir(exist_ok=True)
    page.screenshot(path=PICTURES / f"{picture}.png", full_page=True, caret="initial")
    assert violations(page) == [], picture
    over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert over <= 0, picture
