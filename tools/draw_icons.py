"""Draw the app's icons from the mark: run by hand with Pillow after the mark has changed."""

import pathlib

from PIL import Image, ImageDraw

OUT = pathlib.Path(__file__).resolve().parent.parent / "src" / "leadline" / "web" / "static"
PAPER, INK, MAGENTA = "#fbf8ef", "#1d2932", "#a3246f"


def draw(size: int) -> Image.Image:
    """A fix, as charts draw one: a circle with a dot."""
    big = 4 * size
    image = Image.new("RGB", (big, big), PAPER)
    pen = ImageDraw.Draw(image)
    unit = big / 100
    pen.ellipse([18 * unit, 18 * unit, 82 * unit, 82 * unit], outline=MAGENTA, width=round(8 * unit))
    pen.ellipse([41 * unit, 41 * unit, 59 * unit, 59 * unit], fill=INK)
    return image.resize((size, size), Image.Resampling.LANCZOS)


if __name__ == "__main__":
    for size in (192, 512):
        draw(size).save(OUT / f"mark-{size}.png", optimize=True)
