"""Run the benches that pages quote and put what they print in its place, with the commit and the day.

Usage: .venv/bin/python tools/print_figures.py [docs/science/trust.md …]
What the prose around a table says of its numbers stays as it is: read it again afterwards.
"""

from __future__ import annotations

import pathlib
import re
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parent.parent
PRINTED = re.compile(r"(<!-- printed by: python (-m bench\.[\w]+[^>]*?) -->\n).*?(<!-- end -->)", re.DOTALL)


def said(command: list[str]) -> str:
    """What a command prints."""
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    return done.stdout.strip()


def printed(arguments: str) -> str:
    """One bench's table, under the commit and the day of its commit."""
    commit, day = said(["git", "log", "-1", "--format=%h %cd", "--date=short"]).split()
    changed = " with changes not yet committed" if said(["git", "status", "--porcelain", "src", "bench"]) else ""
    table = said([sys.executable, *arguments.split()])
    return f"At commit `{commit}` of {day}{changed}, `python {arguments}`:\n\n```text\n{table}\n```\n"


def main() -> int:
    pages = [pathlib.Path(p) for p in sys.argv[1:]] or sorted((ROOT / "docs").rglob("*.md"))
    for page in pages:
        old = page.read_text(encoding="utf-8")
        new = PRINTED.sub(lambda m: f"{m[1]}{printed(m[2])}{m[3]}", old)
        if new != old:
            page.write_text(new, encoding="utf-8")
            print(f"{page}: printed anew; read what is said beside it")
    return 0


if __name__ == "__main__":
    sys.exit(main())
