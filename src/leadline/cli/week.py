"""`leadline week`: what falls due on which day, as text, JSON or a calendar."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from leadline.cli.output import emit

if TYPE_CHECKING:
    from leadline.app.due import Ahead, Due
    from leadline.cli.main import Bridge


@click.command(short_help="What falls due in the next days, day by day.")
@click.argument("system", required=False)
@click.option("--days", type=int, default=7, show_default=True, help="So many days, today among them; 28 at most.")
@click.option("--person", default="", help="For somebody of the standing orders alone.")
@click.option("--ics", is_flag=True, help="As a calendar file (RFC 5545) on stdout.")
@click.pass_obj
def week(bridge: Bridge, system: str | None, days: int, person: str, ics: bool) -> None:
    """List what falls due in SYSTEM (or in all): tests, service, steps of quarantines, proofs of alarm paths.

    Days are those of each system's own time zone. Proofs belong to the person whose path it is; all else is for all who
    look after the system.

    \b
    Examples:
      leadline week
      leadline week north-room --days 14
      leadline week --person keeper --json
      leadline week --ics > week.ics
    """
    from leadline.app import due

    store = bridge.store()
    found = due.due(store, bridge.clock, [system] if system else None, days, person.strip(), bridge.as_of(system))
    if ics:
        from leadline.formats import due_calendar

        name = f"Leadline, {found.systems[system]}" if system else "Leadline"
        click.echo(due_calendar.file(found, name, due.orders_of(store).address), nl=False)
        return
    if bridge.json:
        emit(as_json(found))
        return
    _show(found)


def as_json(found: Ahead) -> dict[str, Any]:
    """`leadline.week/1`."""
    return {
        "schema": "leadline.week/1", "as_of": found.as_of, "days": found.days, "person": found.person or None,
        "systems": list(found.systems),
        "due": [
            {
                "uid": d.uid, "day": d.day.isoformat(), "last_day": d.last.isoformat() if d.last else None,
                "time_zone": d.time_zone, "from": d.begins, "until": d.until, "timed": d.timed,
                "system": d.system or None, "person": d.person or None, "action": d.action, "subject": d.subject,
                "urgency": d.urgency, "minutes": d.minutes, "because": d.because, "caution": d.caution or None,
                "page": d.page,
            }
            for d in found.lines
        ],
    }  # fmt: skip


def _show(found: Ahead) -> None:
    from leadline.measures import figures
    from leadline.measures.moments import zone

    if not found.systems and not found.lines:
        click.echo("No system is described yet. Begin with: leadline system add FILE.toml, or look at leadline demo.")
        return
    if not found.lines:
        click.echo(f"Nothing falls due in {figures.span(found.days)}.")
    day = None
    for d in found.lines:
        if d.day != day:
            day = d.day
            today = found.as_of.astimezone(zone(d.time_zone)).date()
            click.echo(click.style(figures.long_day(day, today), bold=True))
        click.echo(f"  [ ] {_said(d, found)}")
        click.echo(f"      {d.because}")
        if d.caution:
            click.echo(f"      Caution: {d.caution}")


def _said(d: Due, found: Ahead) -> str:
    from leadline.measures import figures
    from leadline.measures.moments import zone
    from leadline.present import sentences

    local = zone(d.time_zone)
    head = f"{sentences.action(d.action)} {sentences.target(d.action, d.subject)}"
    where = f", {d.system}" if len(found.systems) > 1 and d.system else ""
    when = ""
    if d.timed and d.until is not None:
        when = f", {d.begins.astimezone(local):%H:%M} to {d.until.astimezone(local):%H:%M}"
    elif d.last is not None and d.last > d.day:
        when = f", until {figures.short_day(d.last)} {figures.month_of(d.last)}"
    return f"{head}{where}  ({figures.minutes(d.minutes)}{when})"
