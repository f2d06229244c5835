"""Take the README's picture of the first page: the demo, at a moment that stands still, in a real browser.

Usage: .venv/bin/python tools/picture.py [docs/pictures/round.png]
"""

import pathlib
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT)]

from playwright.sync_api import sync_playwright  # noqa: E402
from tests.web import house  # noqa: E402
from tests.web.conftest import CHROMIUM, FLAGS, served  # noqa: E402

from leadline.measures.moments import FixedClock  # noqa: E402
from leadline.web import site  # noqa: E402
from leadline.wiring import open_store  # noqa: E402


def main() -> None:
    target = sys.argv[1] if len(sys.argv) > 1 else str(ROOT / "docs" / "pictures" / "round.png")
    with tempfile.TemporaryDirectory() as folder:
        path = house.built(pathlib.Path(folder))
        app = site.build(lambda: open_store(str(path)), FixedClock(house.NOW))
        with served(app) as address, sync_playwright() as play:
            browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            page = browser.new_page(viewport={"width": 1280, "height": 900})
            page.goto(f"{address}/system/great-reef")
            page.screenshot(path=target)
            browser.close()
    print(target)


if __name__ == "__main__":
    main()
