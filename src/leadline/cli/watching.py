"""`leadline watch`: so far over recorded streams, as fast as it goes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from leadline.cli.output import emit
from leadline.measures.errors import BadInput

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from leadline.app.keep_watch import Transition
    from leadline.cli.main import Bridge


@click.command(short_help="Rehearse the watch over recorded streams.")
@click.option("--replay", "recording", metavar="FILE", required=True, type=click.Path(path_type=Path),
              help="A stream CSV: every alarm transition it would have caused is printed.")  # fmt: skip
@click.pass_obj
def watch(bridge: Bridge, recording: Path) -> None:
    """Run the watch's rules over a recording and print each alarm's transitions, in order of time.

    Nobody acknowledges in a recording: an alarm that returned is taken for seen. It does not watch live yet and sends
    nothing: keep the alarms you have.

    \b
    Examples:
      leadline watch --replay streams.csv
      leadline watch --replay streams.csv --json
    """
    import datetime as dt
    from dataclasses import replace

    from leadline.alarms.alarm import State
    from leadline.app import describe, keep_watch
    from leadline.cli.importing import desk_for
    from leadline.formats.opening import Options, read
    from leadline.measures.moments import zone

    store = bridge.store()
    desk = replace(desk_for(store, bridge.clock), now=dt.datetime(9000, 1, 1, tzinfo=dt.UTC))
    found = read(recording, desk, Options())
    left_out = [*(p.text() for p in found.problems), *(f"{p.file}:{p.line}: {p.reason}" for p in found.parked)]
    if not found.streams and left_out:
        raise BadInput(left_out[0])
    if not found.streams:
        raise BadInput("holds no streams", where=str(recording), way_out="Give a file time,system,stream,value.")
    if left_out:
        click.echo(f"Left out, {len(left_out)} in all, the first: {left_out[0]}", err=True)
    count = 0
    zones: dict[str, ZoneInfo] = {}
    for transition in keep_watch.replay(store, found.streams):
        count += 1
        if bridge.json:
            emit(as_json(transition))
        else:
            if transition.state == State.NORMAL:
                continue  # nobody acknowledged: that it returned is said already
            if transition.system not in zones:
                zones[transition.system] = zone(describe.load(store, transition.system).time_zone)
            when = transition.time.astimezone(zones[transition.system]).isoformat(timespec="seconds")
            click.echo(f"{when}  {transition.system}  {transition.alarm}  {transition.state}, {transition.priority}: "
                       f"{transition.because}")  # fmt: skip
    if not bridge.json and not count:
        click.echo("No alarm would have come of it.")


def as_json(t: Transition) -> dict[str, Any]:
    """The contract's `leadline.alarm/1`."""
    return {
        "schema": "leadline.alarm/1", "time": t.time, "system": t.system, "alarm": t.alarm, "subject": t.subject,
        "state": t.state, "priority": t.priority, "value": t.value, "because": t.because,
    }  # fmt: skip
