"""A page's drawing as a file that stands alone: with its own colours, asking for nothing from elsewhere."""

from __future__ import annotations

import re
from string import Template

from leadline.present.charts.fan import DAY, DUSK

_WIDE, _EDGE = 860, 18  # [px]
_COLOURS = Template(
    ".sheet .paper{fill:$paper}.contacts text{fill:$soft}.contacts .place{fill:$ink;stroke:$paper}"
    ".contacts .lane{stroke:$edge}.contacts .tick{stroke:$land}.contacts .reach{fill:$cone}"
    ".contacts .went{stroke:$edge;fill:$edge}.contacts .went.way{stroke:$mag;fill:$mag}"
    ".contacts .went-said{fill:$mag;stroke:$halo}.contacts .sign path{fill:$paper;stroke:$mag}"
    ".contacts .came{fill:$paper;stroke:$ink}.contacts .dot{fill:$ink}"
)
_SHAPES = (
    ".contacts{font-family:system-ui,'DejaVu Sans',sans-serif;font-size:13px;font-variant-numeric:tabular-nums}"
    ".contacts .place{font-weight:600;paint-order:stroke;stroke-width:4px}.contacts .lane{stroke-width:1.2}"
    ".contacts .quiet{stroke-dasharray:2 4}.contacts .reach{fill-opacity:.3}.contacts .went{stroke-width:1;opacity:.55}"
    ".contacts .went.way{stroke-width:2;opacity:1}.contacts .went-said{font-style:italic;paint-order:stroke;"
    "stroke-width:4px}.contacts .sign path{stroke-width:1.6}"
)


def standing_alone(drawing: str) -> str:
    """The drawing with its name space, a width and its colours: day, and dusk where the reader's screen is dark."""
    height = re.search(r'height="(\d+)"', drawing)
    tall = int(height.group(1)) if height else 400
    style = (
        f"<style>{_SHAPES}{_COLOURS.substitute(DAY)}"
        f"@media screen and (prefers-color-scheme: dark){{{_COLOURS.substitute(DUSK)}}}</style>"
    )
    inner = drawing.replace(
        'width="100%"', f'x="{_EDGE}" y="{_EDGE}" width="{_WIDE - 2 * _EDGE}" overflow="visible"', 1
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="sheet" width="{_WIDE}" height="{tall + 2 * _EDGE}">{style}'
        f'<rect class="paper" width="100%" height="100%"/>{inner}</svg>\n'
    )
