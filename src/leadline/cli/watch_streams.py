"""`leadline watch streams`, `points`: what comes in, and a window of one stream."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from leadline.cli.output import emit, table
from leadline.measures.moments import iso, parse, zone

if TYPE_CHECKING:
    from leadline.cli.main import Bridge


@click.command(short_help="Every stream, its last point, and whether it still comes.")
@click.argument("system", required=False)
@click.pass_obj
def streams(bridge: Bridge, system: str | None) -> None:
    """List streams that are declared or came in.

    \b
    Examples:
      leadline watch streams
      leadline watch streams north-room --json
    """
    from leadline.alarms.message import span
    from leadline.app import describe, oversee
    from leadline.app.answers import watch as answers
    from leadline.measures.figures import unit_label

    store = bridge.store()
    if system is not None:
        describe.load(store, system)
    found = oversee.streams(store, system)
    now = bridge.clock.now()
    if bridge.json:
        emit(answers.streams(found, now))
        return
    if not found:
        click.echo("No stream is declared, and none came in.")
        return
    rows = [
        [s.system, s.stream, s.state(now.timestamp()), "" if s.value is None else f"{s.value:.6g}", unit_label(s.unit),
         "never" if s.last_s is None else f"{span(now.timestamp() - s.last_s)} ago"]
        for s in found
    ]  # fmt: skip
    click.echo(table(["system", "stream", "state", "last", "unit", "when"], rows, {3}))


@click.command(short_help="A window of one stream: points, or hours and days with their extremes.")
@click.argument("system")
@click.argument("stream")
@click.option("--from", "start", metavar="TIME", help="Where it begins; a day before its end when not said.")
@click.option("--until", "end", metavar="TIME", help="Where it ends; now when not said.")
@click.option("--by", "rollup", type=click.Choice(["auto", "raw", "hour", "day"]), default="auto", show_default=True,
              help="Points as they came, or hours or days with their extremes; auto goes by the length.")  # fmt: skip
@click.option("--most", type=click.IntRange(1, 10_000), default=1000, show_default=True, help="So many at most.")
@click.pass_obj
def points(
    bridge: Bridge, system: str, stream: str, start: str | None, end: str | None, rollup: str, most: int
) -> None:  # fmt: skip
    """Print a window of STREAM of SYSTEM, oldest first.

    \b
    Examples:
      leadline watch points north-room temperature
      leadline watch points north-room temperature --from 2026-01-01 --by day --json
    """
    from leadline.app import describe, stream_window
    from leadline.app.answers import watch as answers

    store = bridge.store()
    local = zone(describe.load(store, system).time_zone)
    w = stream_window.look(
        store, bridge.clock, system, stream, parse(start, local) if start else None,
        parse(end, local) if end else bridge.as_of(system), rollup, most,
    )  # fmt: skip
    if bridge.json:
        emit(answers.points(w))
        return
    if not w.points and not w.buckets:
        click.echo("No point lies there.")
        return
    if w.rollup == "raw":
        rows = [[_when(t), "missing" if v is None else f"{v:.6g}", str(f)] for t, v, f in w.points]
        click.echo(table(["time", w.unit or "value", "flag"], rows, {1, 2}))
    else:
        rows = [[_when(t), f"{low:.6g}", f"{mean:.6g}", f"{high:.6g}", str(n)] for t, n, low, high, mean in w.buckets]
        click.echo(table([w.rollup, "least", "mean", "greatest", "points"], rows, {1, 2, 3, 4}))
    if w.more is not None:
        click.echo(click.style(f"And more: --from {iso(w.more)}", dim=True))


def _when(seconds: float) -> str:
    import datetime as dt

    return iso(dt.datetime.fromtimestamp(seconds, dt.UTC))
