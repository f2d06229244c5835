"""A reader of QR codes that is none of ours: zbarimg of Debian's package zbar-tools."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from PIL import Image, ImageDraw

NEEDED = pytest.mark.skipif(shutil.which("zbarimg") is None, reason="zbarimg is not here: apt-get install zbar-tools")
_STROKE = re.compile(r"M(\d+) (\d+)h(\d+)v1h-\3z")


def scanned(picture: Path) -> list[str]:
    """What zbarimg reads in a picture file, in no order."""
    done = subprocess.run(
        ["zbarimg", "--quiet", "--raw", "-Sdisable", "-Sqrcode.enable", str(picture)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return sorted(done.stdout.splitlines())


def drawn(svg: str, scale: int = 8) -> bytes:
    """The dark squares of a code's path on white, as PNG."""
    side = int(re.search(r'viewBox="0 0 (\d+) \1"', svg)[1])
    image = Image.new("L", (side * scale, side * scale), 255)
    pen = ImageDraw.Draw(image)
    for x, y, wide in (tuple(map(int, found)) for found in _STROKE.findall(svg)):
        pen.rectangle((x * scale, y * scale, (x + wide) * scale - 1, (y + 1) * scale - 1), fill=0)
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()
