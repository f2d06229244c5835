"""A page's drawing as a file that stands alone: with its own colours, asking for nothing from elsewhere."""

from __future__ import annotations

import re
from string import Template

from leadline.present.charts.fan import DAY, DUSK

_WIDE = 860
_COLOURS = Template(
    ".contacts{background:$paper}.contacts text{fill:$soft}.contacts .place{fill:$ink}.contacts .lane{stroke:$edge}"
    ".contacts .tick{stroke:$land}.contacts .reach{fill:$cone}.contacts .went{stroke:$edge;fill:$edge}"
    ".contacts .went.way{stroke:$mag;fill:$mag}.contacts .went-said{fill:$mag;stroke:$halo}"
    ".contacts .sign path{fill:$paper;stroke:$mag}"
)
_SHAPES = (
    ".contacts{font-family:system-ui,'DejaVu Sans',sans-serif;font-size:13px;padding:16px;"
    "box-sizing:border-box;overflow:visible}"
    ".contacts .place{font-weight:600}.contacts .lane{stroke-width:1.2}.contacts .quiet{stroke-dasharray:2 4}"
    ".contacts .reach{fill-opacity:.3}.contacts .went{stroke-width:1;opacity:.55}.contacts .went.way{stroke-width:2;"
    "opacity:1}.contacts .went-said{font-style:italic;paint-order:stroke;stroke-width:4px}.contacts .sign path{"
    "stroke-width:1.6}"
)


def standing_alone(drawing: str) -> str:
    """The drawing with its name space, a width and its colours: day, and dusk where the reader's screen is dark."""
    height = re.search(r'height="(\d+)"', drawing)
    size = f'width="{_WIDE}" height="{height.group(1) if height else 400}"'
    style = (
        f"<style>{_SHAPES}{_COLOURS.substitute(DAY)}"
        f"@media screen and (prefers-color-scheme: dark){{{_COLOURS.substitute(DUSK)}}}</style>"
    )
    head, _, rest = drawing.partition(">")
    head = re.sub(r'width="100%" height="\d+"', size, head, count=1)
    head = head.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return f"{head}>{style}{rest}\n"
