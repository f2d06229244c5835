"""`leadline watch prove`, `paths`, `figures`, `rehearse`: whether alarms arrive, and how well they serve."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from leadline.cli.output import emit

if TYPE_CHECKING:
    from leadline.cli.main import Bridge


@click.command(short_help="Prove now that a path reaches its person.")
@click.argument("path", required=False, default="")
@click.option("--heard", is_flag=True, help="Answer an open proof of a sounder: you heard it.")
@click.option("--wait", type=click.FloatRange(0, 3600), default=0.0, help="Wait so many seconds for the answers.")
@click.pass_obj
def prove(bridge: Bridge, path: str, heard: bool, wait: float) -> None:
    """Send a proof by PATH (or a person, or person/path), or by every path; a running watch sends it.

    --heard counts only for a proof that was delivered.

    It asks for one tap or a reply. Without an answer in time the path counts as unproved: that stands on the round, and
    the other paths and people are told. Exit status 1 when --wait ends without all answers.

    \b
    Examples:
      leadline watch prove
      leadline watch prove mail --wait 120
      leadline watch prove bell --heard
    """
    import time

    from leadline.app import oversee, path_book
    from leadline.app.keep_watch import Watch
    from leadline.measures.errors import BadInput
    from leadline.wiring import make_signals

    store = bridge.store()
    signals = make_signals(store, bridge.path)
    now = bridge.clock.now().timestamp()
    pairs = path_book.path_and_person(signals.orders, path)
    if heard:
        open_here = {(p.person, p.path): p.by_hand for p in oversee.paths(signals, now) if p.by_hand}
        done = [k for k in pairs if k in open_here]
        if not done:
            waits = any((k.person, k.path) in pairs and k.asked_s is not None for k in signals.known())
            raise BadInput(
                "no proof of a sounder was sounded there" + (": it is asked for, not delivered yet" if waits else ""),
                way_out="A running watch sends it." if waits else "leadline watch prove asks for one.",
            )
        for key in done:
            d = signals.find(open_here[key])
            if d is not None:
                signals.answer(Watch(store), d, "heard", now)
            click.echo(f"Proved: {key[1]} to {key[0]}")
        return
    for person, name in pairs:
        signals.ask(person, name, now)
        click.echo(f"Proof asked: {name} to {person}")
    if not _running(bridge):
        click.echo("No watch runs on this store: they are sent when one does.", err=True)
    deadline = time.monotonic() + wait
    left = set(pairs)
    while wait and left and time.monotonic() < deadline:
        left = {(k.person, k.path) for k in signals.known() if (k.person, k.path) in left and k.asked_s is not None}
        time.sleep(0.5 if left else 0.0)
    if wait:
        for person, name in pairs:
            click.echo(f"{name} to {person}: {'no answer yet' if (person, name) in left else 'proved'}")
        if left:
            raise click.exceptions.Exit(1)


@click.command(short_help="Every path, how far it is proved, and the chance that nobody is reached.")
@click.option("--why", is_flag=True, help="Say what the chance that nobody is reached rests on.")
@click.pass_obj
def paths(bridge: Bridge, why: bool) -> None:
    """List every person's every path with its proof. Exit status 1 when one is unproved.

    \b
    Examples:
      leadline watch paths
      leadline watch paths --why
      leadline watch paths --json
    """
    from leadline.app import oversee
    from leadline.wiring import make_signals

    store = bridge.store()
    signals = make_signals(store, bridge.path)
    now = bridge.clock.now().timestamp()
    found = oversee.paths(signals, now)
    gap = oversee.nobody_tonight(signals, now)
    if bridge.json:
        from leadline.app.answers import watch as answers

        emit(answers.paths(found, gap, bridge.clock.now()))
    else:
        for p in found:
            click.echo(f"{p.name} by {p.path} ({p.kind}): {p.said}")
        if not found:
            click.echo("Nobody is told of anything: leadline watch orders --example prints orders to begin with.")
        click.echo(f"Chance that an alarm tonight reaches nobody: {oversee.chance_said(gap)}")
        for what, said in oversee.why_nobody(signals, now) if why else ():
            click.echo(f"  {what}: {said}")
    if any(not p.known.counts for p in found) or not found:
        raise click.exceptions.Exit(1)


@click.command(short_help="How well the alarms serve (IEC 62682).")
@click.option("--days", type=click.FloatRange(1, 3660), default=30.0, show_default=True, help="Over so many days.")
@click.pass_obj
def figures(bridge: Bridge, days: float) -> None:
    """The figures of IEC 62682: how many, how often, how long, how loud.

    \b
    Examples:
      leadline watch figures
      leadline watch figures --days 90 --json
    """
    from leadline.alarms.message import span
    from leadline.app import oversee
    from leadline.app.answers import watch as answers

    f = oversee.figures(bridge.store(), bridge.clock, days)
    if bridge.json:
        emit(answers.figures(f))
        return
    shares = ", ".join(f"{name} {100 * share:.0f} %" for name, share in f.by_priority.items())
    answer = "none" if f.median_answer_s is None else span(f.median_answer_s)
    rows = (
        ("alarms that spoke", f"{f.announced}, {f.per_week:.1f} a week (aim: 2)"),
        ("at night, high or urgent", f"{f.nights} (aim: 1 a month)"),
        ("most in ten minutes", f"{f.most_in_ten_minutes} (aim: 10 at most)"),
        ("time in flood", f"{100 * f.flood_share:.2f} % (aim: under 1 %)"),
        ("priorities", f"{shares} (aim: 80, 15, 5, under 1)"),
        ("answered, median time", f"{f.answered}, {answer}"),
        ("standing over a day", f"{len(f.stale)} (aim: none)"),
        ("chattering", f"{len(f.chattering)} (aim: none)"),
        ("gone within a minute", f"{f.fleeting}"),
        ("shelved, quiet in work", f"{f.shelved}, {f.suppressed}"),
    )
    width = max(len(name) for name, _ in rows)
    click.echo(f"The last {f.days:g} days")
    for name, said in rows:
        click.echo(f"  {name:<{width}}  {said}")
    for name, n in f.most_frequent:
        click.echo(f"  {n:>4} × {name}")


@click.command(short_help="What would have woken you: the rules over your own past.")
@click.argument("system")
@click.option("--days", type=click.FloatRange(1, 3660), default=365.0, show_default=True, help="Over so many days.")
@click.pass_obj
def rehearse(bridge: Bridge, system: str, days: float) -> None:
    """Run the rules over the streams that the store holds: alarms a month, how many would have needed somebody.

    One needed somebody when it stood for over an hour or until its harm, or when something of the same cause became
    urgent. One that still stands at the end needed somebody when harm was expected of it.

    \b
    Examples:
      leadline watch rehearse north-room
      leadline watch rehearse north-room --days 60 --json
    """
    from leadline.alarms.message import span
    from leadline.app import describe
    from leadline.app.rehearse import rehearse as run
    from leadline.cli.watching import as_json
    from leadline.measures.moments import zone

    store = bridge.store()
    local = zone(describe.load(store, system).time_zone)
    end = (bridge.as_of(system) or bridge.clock.now()).timestamp()
    found = run(store, system, end - 86400.0 * days, end)
    needed = sum(w.needed for w in found.alarms)
    woke = sum(w.woke for w in found.alarms)
    if bridge.json:
        emit({
            "schema": "leadline.rehearsal/1", "system": system, "days": found.days, "points": found.points,
            "alarms_per_month": found.per_month, "alarms": len(found.alarms), "needed_somebody": needed, "woke": woke,
            "by_name": [{"alarm": n, "count": c, "needed_somebody": k} for n, c, k in found.by_name()],
            "each": [{**as_json(w.told), "stood_s": w.stood_s, "needed_somebody": w.needed, "woke": w.woke,
                      "still_standing": w.stands}
                     for w in found.alarms],
        })  # fmt: skip
        return
    click.echo(
        f"{found.days:.0f} days of {system}: {len(found.alarms)} alarms, {found.per_month:.1f} a month of medium and "
        f"above; {needed} would have needed somebody, {woke} would have woken you."
    )
    for name, count, k in found.by_name():
        click.echo(f"  {count:>4} × {name}, {k} needed somebody")
    for w in found.alarms[-12:]:
        when = w.told.time.astimezone(local)
        stood = f"still standing, {span(w.stood_s)}" if w.stands else f"stood {span(w.stood_s)}"
        marks = ", ".join([stood, *(["woke you"] if w.woke else []),
                           *(["needed somebody"] if w.needed else [])])  # fmt: skip
        click.echo(f"  {when:%Y-%m-%d %H:%M}  {w.told.priority}  {w.told.alarm}: {w.told.because} ({marks})")


def _running(bridge: Bridge) -> bool:
    from pathlib import Path

    from leadline.measures.errors import Unreachable
    from leadline.watch.lock import Lock

    lock = Lock(Path(bridge.path))
    try:
        lock.take()
    except Unreachable:
        return True
    lock.leave()
    return False
