"""`leadline watch`: the watch alone, and over recorded streams, as fast as it goes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from leadline.cli.lazy import LazyGroup
from leadline.cli.output import emit
from leadline.measures.errors import BadInput

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from leadline.app.keep_watch import Transition
    from leadline.cli.main import Bridge

# command: (module, name in it, one line of help)
COMMANDS: dict[str, tuple[str, str, str]] = {
    "orders": ("watch_orders", "orders", "Who is called and how, what comes in: show or give them."),
    "part": ("watch_orders", "part", "Add or change one part of the orders: a person, a way, waits, proofs."),
    "drop": ("watch_orders", "drop", "Take a person or a way out of the orders."),
    "secret": ("watch_orders", "secret", "Keep a password or an address that the orders refer to."),
    "token": ("watch_orders", "token", "Make or take back a token with which a device may post points."),
    "adopt": ("watch_orders", "adopt", "Take up a stream that came in and that nobody declared."),
    "streams": ("watch_streams", "streams", "Every stream, its last point, and whether it still comes."),
    "points": ("watch_streams", "points", "A window of one stream: points, or hours and days with their extremes."),
    "held": ("watch_orders", "held", "What came in and was no point."),
    "alarms": ("watch_alarms", "alarms", "Alarms that stand."),
    "acknowledge": ("watch_alarms", "acknowledge", "Say that you have it: an alarm, or the code of a message."),
    "shelve": ("watch_alarms", "shelve", "Quieten one alarm, with an end and a reason."),
    "unshelve": ("watch_alarms", "unshelve", "Take an alarm from the shelf, or back into service."),
    "remove": ("watch_alarms", "remove", "Take an alarm out of service until it is put back."),
    "work": ("watch_alarms", "work", "Declare work: its alarms are quiet until it ends, by itself."),
    "prove": ("watch_proofs", "prove", "Prove now that a path reaches its person."),
    "paths": ("watch_proofs", "paths", "Every path, how far it is proved, and the chance that nobody is reached."),
    "figures": ("watch_proofs", "figures", "How well the alarms serve (IEC 62682)."),
    "rehearse": ("watch_proofs", "rehearse", "What would have woken you: the rules over your own past."),
}


class Group(LazyGroup):
    """What is asked of the watch."""

    table = COMMANDS


@click.group(cls=Group, invoke_without_command=True, short_help="Watch the streams; see who is told and how.")
@click.option("--replay", "recording", metavar="FILE", type=click.Path(path_type=Path),
              help="Instead of watching: run over a stream CSV and print each alarm transition.")  # fmt: skip
@click.option("--guard", "guard", multiple=True, metavar="ADDRESS",
              help="Guard another watch by its address, such as http://192.168.1.21:8078.")  # fmt: skip
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", type=click.IntRange(0, 65535), default=8078, show_default=True, help="0 takes any free port.")
@click.option("--name", "names", multiple=True, metavar="HOST", help="A further name by which it may be asked.")
@click.pass_context
def watch(
    ctx: click.Context, recording: Path | None, guard: tuple[str, ...], host: str, port: int, names: tuple[str, ...]
) -> None:
    """Watch until Ctrl-C: take points in, decide alarms, tell people, prove that it arrives.

    It listens for posted points, for answers and for whoever guards it (/health). `leadline serve` does all of this
    beside the pages: run one of the two. It advises; it never switches anything.

    \b
    Examples:
      leadline watch
      leadline watch --guard http://192.168.1.21:8078
      leadline watch --replay streams.csv --json
      leadline watch orders orders.toml
      leadline watch prove
    """
    if ctx.invoked_subcommand is not None:
        return
    bridge: Bridge = ctx.obj
    if recording is not None:
        _replay(bridge, recording)
        return
    from urllib.parse import urlsplit

    from leadline.cli.serving import serve_watch

    for address in guard:
        if urlsplit(address).scheme not in ("http", "https") or not urlsplit(address).netloc:
            raise BadInput(f"--guard {address!r} is no address", way_out="Write http://192.168.1.21:8078.")
    bridge.store().close()  # an unreadable store is said now
    serve_watch(bridge.path, bridge.clock, host, port, names, guard)


def _replay(bridge: Bridge, recording: Path) -> None:
    """Run the watch's rules over a recording; nobody acknowledges in it: what returned is taken for seen."""
    import datetime as dt
    import time
    from dataclasses import replace

    from leadline.alarms.alarm import State
    from leadline.app import describe, keep_watch
    from leadline.formats.opening import Options, desk_for, read
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
    began = time.perf_counter()
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
    if bridge.json:
        return
    if not count:
        click.echo("No alarm would have come of it.")
    points = sum(len(p.times_s) for p in found.streams)
    days = (max(p.times_s.max() for p in found.streams) - min(p.times_s.min() for p in found.streams)) / 86400.0
    took = max(time.perf_counter() - began, 1e-6)
    click.echo(
        f"{points} points of {days:.1f} days in {took:.1f} s: {days / took:.0f} days, {points / took:.0f} points "
        "a second",
        err=True,
    )


def as_json(t: Transition) -> dict[str, Any]:
    """The contract's `leadline.alarm/1`."""
    return {
        "schema": "leadline.alarm/1", "time": t.time, "system": t.system, "alarm": t.alarm, "subject": t.subject,
        "state": t.state, "priority": t.priority, "value": t.value, "because": t.because,
    }  # fmt: skip
