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


_COURSE_COLOURS = Template(
    ".sheet .paper{fill:$paper}.chart text{fill:$soft}.chart .now,.chart .depth.other{fill:$ink}"
    ".chart .deep{fill:$deep}.chart .shoal{fill:$shoal}.chart .unsurveyed{fill:$unsurveyed}.chart .landfill{fill:$land}"
    ".chart .hatch{stroke:$hatch}.chart .neatline{stroke:$edge}.chart .bar{fill:$paper;stroke:$edge}"
    ".chart .bar.filled{fill:$edge}.chart .cone{fill:$cone}.chart .cone.other{stroke:$soft}"
    ".chart .course,.chart .fix circle,.chart .fix rect,.chart .doubtful *,.chart .probe,.chart .bracket path"
    "{stroke:$course}.chart .fix .dot,.chart .dot,.chart .beyond path{fill:$course;stroke:none}"
    ".chart .mark,.chart .mark path,.chart .today{stroke:$soft}.chart .mark path{fill:$paper}"
    ".chart .meets{stroke:$mag}.chart .meets-said{fill:$mag;stroke:$halo}"
)
_COURSE_SHAPES = (
    ".chart{font-family:system-ui,'DejaVu Sans',sans-serif;font-size:13px;font-variant-numeric:tabular-nums}"
    ".chart .neatline,.chart .course,.chart .fix circle,.chart .fix rect,.chart .doubtful *,.chart .probe,"
    ".chart .cone.other,.chart .bracket path{fill:none}.chart .cone{fill-opacity:.24}"
    ".chart .cone.ahead{fill-opacity:.12}"
    ".chart .course{stroke-width:1.7;vector-effect:non-scaling-stroke}.chart .course.ahead{stroke-dasharray:2 4}"
    ".chart .course.other{stroke-dasharray:9 4}.chart .course.other.ahead{stroke-dasharray:2 5}"
    ".chart .cone.other{stroke-dasharray:1 3;vector-effect:non-scaling-stroke}.chart .fix circle,.chart .fix rect,"
    ".chart .doubtful *{stroke-width:1.6}.chart .probe{stroke-width:1.8;stroke-linecap:round;opacity:.55;"
    "vector-effect:non-scaling-stroke}.chart .probe.other{stroke-linecap:butt;opacity:.8}"
    ".chart .meets{stroke-width:1.6;stroke-dasharray:5 3}"
    ".chart .meets-said{font-style:italic;paint-order:stroke;stroke-width:4px}"
)


def chart_alone(drawing: str) -> str:
    """The same for the drawing of a course."""
    return _sheet(drawing, _COURSE_SHAPES, _COURSE_COLOURS, 46, 46)


def standing_alone(drawing: str) -> str:
    """The drawing with its name space, a width and its colours: day, and dusk where the reader's screen is dark."""
    return _sheet(drawing, _SHAPES, _COLOURS, _EDGE, 0)


def _sheet(drawing: str, shapes: str, colours: Template, side: int, more: int) -> str:
    height = re.search(r'height="(\d+)"', drawing)
    tall, wide = int(height.group(1)) if height else 400, _WIDE + more
    style = (
        f"<style>{shapes}{colours.substitute(DAY)}"
        f"@media screen and (prefers-color-scheme: dark){{{colours.substitute(DUSK)}}}</style>"
    )
    inner = drawing.replace('width="100%"', f'x="{side}" y="{_EDGE}" width="{wide - 2 * side}" overflow="visible"', 1)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="sheet" width="{wide}" height="{tall + 2 * _EDGE}">{style}'
        f'<rect class="paper" width="100%" height="100%"/>{inner}</svg>\n'
    )
