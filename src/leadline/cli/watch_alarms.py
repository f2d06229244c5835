"""`leadline watch alarms`, `acknowledge`, `shelve`, `unshelve`, `remove`, `work`: what a person does about alarms."""

from __future__ import annotations

import getpass
from typing import TYPE_CHECKING

import click

from leadline.cli.output import emit
from leadline.measures.errors import BadInput

if TYPE_CHECKING:
    from leadline.cli.main import Bridge


def _who() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # an account without a name
        return "prompt"


@click.command(short_help="Alarms that stand.")
@click.argument("system", required=False)
@click.pass_obj
def alarms(bridge: Bridge, system: str | None) -> None:
    """List alarms that are not normal, the loudest first. Exit status 1 when one asks for an answer.

    \b
    Examples:
      leadline watch alarms
      leadline watch alarms north-room --json
    """
    import datetime as dt
    from zoneinfo import ZoneInfo

    from leadline.alarms.alarm import ACTIVE, SPOKEN, State
    from leadline.alarms.first_steps import first_step
    from leadline.alarms.message import plain, span
    from leadline.app import describe, oversee
    from leadline.app.answers import watch as answers

    store = bridge.store()
    if system is not None:
        describe.load(store, system)
    found = oversee.alarms(store, system)
    now = bridge.clock.now().timestamp()
    asks = False
    for a in found:
        r = a.raised
        asks = asks or r.state is State.UNACKNOWLEDGED
        state = SPOKEN.get(r.state, r.state)
        if bridge.json:
            emit(answers.standing(a))
            continue
        until = ""
        if r.alarm.until_s is not None:
            until = (
                f" until {dt.datetime.fromtimestamp(r.alarm.until_s, ZoneInfo(a.time_zone)):%H:%M}, {r.alarm.reason}"
            )
        click.echo(
            f"{r.priority}  {r.system}  {r.name}  {state}{until}, since {span(now - r.began_s)}: {plain(r.because)}"
        )
        if a.held_s is not None:
            click.echo(f"    {a.held_by or 'Somebody'} has it, since {span(now - a.held_s)}")
        if r.state in ACTIVE:
            click.echo(f"    First: {first_step(r.name, r.subject)}")
        for d in a.told:
            click.echo(f"    {d.person} by {d.path}: {d.stage}{f' ({d.note})' if d.note else ''}")
    if not found and not bridge.json:
        click.echo("No alarm stands.")
    if asks:
        raise click.exceptions.Exit(1)


@click.command(short_help="Say that you have it: an alarm, or the code of a message.")
@click.argument("system_or_code")
@click.argument("alarm", required=False)
@click.pass_obj
def acknowledge(bridge: Bridge, system_or_code: str, alarm: str | None) -> None:
    """Acknowledge an alarm by SYSTEM and ALARM, or by the CODE that stands in its message.

    A code proves that the message reached you, and with it the path; a name only acknowledges.

    \b
    Examples:
      leadline watch acknowledge north-room temperature-heading-high
      leadline watch acknowledge 7QK4F-9XM2B
    """
    from leadline.app import oversee
    from leadline.app.keep_watch import Watch
    from leadline.wiring import make_signals

    store = bridge.store()
    signals = make_signals(store, bridge.path)
    now = bridge.clock.now().timestamp()
    if alarm is None:
        d = signals.find_code(system_or_code, now)
        if d is None:
            raise BadInput(f"{system_or_code!r} is no code of a message", way_out="Or name SYSTEM and ALARM.")
        click.echo(signals.answer(Watch(store), d, "prompt", now).words)
        return
    if not oversee.answers(store, system_or_code, alarm):
        click.echo(f"{alarm} asks for nothing.")
        return
    signals.acknowledge(Watch(store), system_or_code, alarm, _who(), "prompt", now)
    click.echo(f"Acknowledged: {alarm}")


@click.command(short_help="Quieten one alarm, with an end and a reason.")
@click.argument("system")
@click.argument("alarm")
@click.option("--for", "hours", type=float, required=True, metavar="HOURS", help="It speaks again then if it holds.")
@click.option("--reason", required=True, help="Why; whoever looks later must know.")
@click.pass_obj
def shelve(bridge: Bridge, system: str, alarm: str, hours: float, reason: str) -> None:
    """Lay an alarm on the shelf. An urgent one may lie there for an hour, others for twelve.

    \b
    Examples:
      leadline watch shelve north-room ph-silent --for 4 --reason "probe is out for cleaning"
    """
    from leadline.app import stand_orders

    stand_orders.shelve(bridge.store(), bridge.clock, system, alarm, hours=hours, reason=reason, who=_who())
    click.echo(f"On the shelf for {hours:g} h: {alarm}")


@click.command(short_help="Take an alarm from the shelf, or back into service.")
@click.argument("system")
@click.argument("alarm")
@click.pass_obj
def unshelve(bridge: Bridge, system: str, alarm: str) -> None:
    """Take an alarm back; it speaks at once if its condition holds.

    \b
    Examples:
      leadline watch unshelve north-room ph-silent
    """
    from leadline.app import stand_orders

    turned = stand_orders.unshelve(bridge.store(), bridge.clock, system, alarm, who=_who())
    click.echo(f"Taken back: {alarm} is {turned[-1].state}.")


@click.command(short_help="Take an alarm out of service until it is put back.")
@click.argument("system")
@click.argument("alarm")
@click.option("--reason", required=True, help="Why; whoever looks later must know.")
@click.pass_obj
def remove(bridge: Bridge, system: str, alarm: str, reason: str) -> None:
    """Take an alarm out of service: for a probe that is no longer there. `unshelve` puts it back.

    \b
    Examples:
      leadline watch remove north-room orp-silent --reason "probe sold"
    """
    from leadline.app import stand_orders

    stand_orders.remove(bridge.store(), bridge.clock, system, alarm, reason=reason, who=_who())
    click.echo(f"Out of service: {alarm}")


@click.command(short_help="Declare work: its alarms are quiet until it ends, by itself.")
@click.argument("system")
@click.argument("kind", required=False)
@click.option("--on", "subject", default="", help="For cleaning and service: the stream or machine.")
@click.option("--minutes", type=float, help="For how long; each kind has its usual span.")
@click.option("--end", is_flag=True, help="The work is done.")
@click.pass_obj
def work(bridge: Bridge, system: str, kind: str | None, subject: str, minutes: float | None, end: bool) -> None:
    """Declare work that begins now: exchange, feeding, cleaning or service.

    \b
    Examples:
      leadline watch work north-room exchange
      leadline watch work north-room cleaning --on ph --minutes 20
      leadline watch work north-room --end
      leadline watch work north-room cleaning --on ph --end
    """
    from leadline.alarms import works
    from leadline.alarms.message import span
    from leadline.app import describe, stand_orders

    store = bridge.store()
    if end:
        count = stand_orders.end_work(store, bridge.clock, system, kind or "", subject)
        click.echo("Work has ended." if count else "No work was going on.")
        return
    if kind is None:
        describe.load(store, system)
        now = bridge.clock.now().timestamp()
        going = stand_orders.work_going_on(store, system, now)
        for w in going:
            click.echo(f"{w.kind}{f' of {w.subject}' if w.subject else ''}: {span(w.end_s - now)} left")
        if not going:
            click.echo(f"No work is going on. Kinds: {', '.join(works.KINDS)}.")
        return
    w, turned = stand_orders.declare(
        store, bridge.clock, system, kind, subject=subject, minutes=minutes, who=_who()
    )  # fmt: skip
    quiet = f"; quiet now: {', '.join(t.alarm for t in turned)}" if turned else ""
    click.echo(f"{w.kind.capitalize()} declared for {span(w.end_s - w.begin_s)}; it ends by itself{quiet}.")
