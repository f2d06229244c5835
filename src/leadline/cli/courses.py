"""`leadline course`: one quantity's reckoned course through any window of time, as a table, data, CSV or drawing."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from leadline.cli.output import emit, table
from leadline.measures.errors import BadInput

if TYPE_CHECKING:
    from leadline.cli.main import Bridge
    from leadline.present.window import Window


@click.command(short_help="A quantity's course through any window: table, data, CSV or drawing.")
@click.argument("system")
@click.argument("quantity")
@click.option("--from", "start", default="", metavar="TIME", help="Where the window begins.")
@click.option("--to", "end", default="", metavar="TIME", help="Where it ends; a little after now when not given.")
@click.option(
    "--span", default="", metavar="SPAN", help="Its length: 1h 1d 1w 1m 6m 14m 4y 10y, or such as 36h; else 6m."
)
@click.option("--with", "over", default="", metavar="[SYSTEM/]QUANTITY", help="A second quantity over it.")
@click.option("--near", is_flag=True, help="Draw as deep as what is there, not as the whole channel.")
@click.option(
    "--px", type=click.IntRange(40, 2000), default=720, show_default=True, help="Columns that hold the probe."
)
@click.option("--csv", "as_csv", is_flag=True, help="CSV on stdout: course, readings, probe, marks.")
@click.option("--svg", "as_svg", is_flag=True, help="A drawing on stdout, a file that stands alone.")
@click.pass_obj
def course(
    bridge: Bridge, system: str, quantity: str, start: str, end: str, span: str, over: str, near: bool, px: int,
    as_csv: bool, as_svg: bool,
) -> None:  # fmt: skip
    """QUANTITY of SYSTEM between two moments: what was reckoned, read, measured by a probe and done.

    \b
    Examples:
      leadline course north-room alkalinity
      leadline course north-room temperature --span 1d --json
      leadline course north-room salinity --from 2026-01-01 --to 2026-02-01 --csv > january.csv
      leadline course north-room ph --with temperature --svg > ph.svg
    """
    from leadline.app import describe, survey
    from leadline.measures.moments import zone

    if as_csv + as_svg + bridge.json > 1:
        raise BadInput("--json, --csv and --svg are three answers", way_out="Ask for one of them.")
    store = bridge.store()
    as_of = bridge.as_of(system)
    local = zone(describe.load(store, system).time_zone)
    ends = survey.window(start, end, span, as_of or bridge.clock.now(), local)
    windows = [survey.survey(store, bridge.clock, system, quantity, *ends, px, as_of)]
    if over:
        other, _, second = over.rpartition("/")
        windows.append(survey.survey(store, bridge.clock, other or system, second, *ends, px, as_of))
    if bridge.json:
        emit(survey.as_json(windows, px, near=near))
    elif as_csv:
        from leadline.formats.course_csv import write_course

        sys.stdout.reconfigure(newline="")  # type: ignore[union-attr]
        write_course(windows, sys.stdout)
    elif as_svg:
        from leadline.present.charts import survey as drawn
        from leadline.present.charts.alone import chart_alone

        click.echo(chart_alone(drawn.svg(windows, ident="course", near=near, today="as of" if as_of else "")), nl=False)
    else:
        for w in windows:
            _show(w)


def _show(w: Window) -> None:
    from leadline.measures import figures
    from leadline.present import sentences
    from leadline.present.charts import survey as drawn
    from leadline.present.window import moments

    title, said = drawn.words([w])
    click.echo(f"{click.style(title, bold=True)}\n{said}")
    rows = []
    way = w.way
    for m in moments(w):
        if m.believed is None and m.probed is None:
            continue
        f = figures.figure(*m.believed[:2], w.quantity, w.units, w.unit) if m.believed else None
        spread = " to ".join(figures.number(way.shown(v), way.digits) for v in m.believed[2:]) if m.believed else ""
        probe = " to ".join(figures.number(way.shown(v), way.digits) for v in m.probed or ())
        rows.append([figures.moment(m.at, w.local), f"{f.value} ± {f.sd}" if f else "", spread, probe])
    click.echo(
        table(["when", f"{sentences.name(w.quantity)} {way.label}".strip(), "9 in 10", "probe"], rows, {1, 2, 3})
    )
    for fix in w.fixes[-12:]:
        doubt = "  in doubt" if fix.doubtful else ""
        value = way.with_unit(figures.number(way.shown(fix.value), way.digits))
        click.echo(f"{figures.moment(fix.time, w.local)}  {value}  {fix.method}{doubt}".rstrip())
    if len(w.fixes) > 12:
        click.echo(click.style(f"And {len(w.fixes) - 12} earlier readings: --csv has them all.", dim=True))
