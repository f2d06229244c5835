"""`leadline calendar`: addresses at which a calendar reads what is due."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from leadline.cli.lazy import LazyGroup
from leadline.cli.output import emit

if TYPE_CHECKING:
    from leadline.app.calendar_feed import Feed
    from leadline.cli.main import Bridge

COMMANDS: dict[str, tuple[str, str, str]] = {
    "make": ("calendar", "make", "Make an address; it is shown once."),
    "list": ("calendar", "list_", "The addresses that stand, and when each was last read."),
    "revoke": ("calendar", "revoke", "Take an address back."),
}


class Group(LazyGroup):
    """What can be done with addresses of calendars."""

    table = COMMANDS


@click.group(cls=Group, short_help="Addresses at which a calendar reads what is due.")
def calendar() -> None:
    """Have what is due in the calendar of a phone: it reads an address that `leadline serve` answers.

    Whoever has such an address can read what is due; nothing can be written with it.

    \b
    Examples:
      leadline calendar make phone --person keeper
      leadline calendar list
      leadline calendar revoke phone
    """


@click.command(short_help="Make an address; it is shown once.")
@click.argument("name")
@click.option("--person", default="", help="For somebody of the standing orders; else for all.")
@click.option("--system", "systems", multiple=True, help="Of this system alone; may be said several times.")
@click.pass_obj
def make(bridge: Bridge, name: str, person: str, systems: tuple[str, ...]) -> None:
    """Make the address NAME. It is shown this once: only a hash of it is kept.

    \b
    Examples:
      leadline calendar make phone
      leadline calendar make keeper-phone --person keeper --system north-room
    """
    from leadline.app import calendar_feed, due

    store = bridge.store()
    feed, secret = calendar_feed.make(store, bridge.clock, name, person.strip(), systems)
    site = due.orders_of(store).address
    address = f"{site}/calendar/{secret}.ics"
    if bridge.json:
        emit({"schema": "leadline.calendar/1", **_as_json(feed), "address": address})
        return
    click.echo(address)
    if not site:
        click.echo("Put the address of your pages before it, such as http://192.168.1.20:8077.", err=True)
    click.echo("It is not shown again. Whoever has it can read what is due here.", err=True)


@click.command(name="list", short_help="The addresses that stand, and when each was last read.")
@click.pass_obj
def list_(bridge: Bridge) -> None:
    """List the addresses that stand; no secret is shown.

    \b
    Examples:
      leadline calendar list
      leadline calendar list --json
    """
    from leadline.app import calendar_feed
    from leadline.measures.moments import iso

    found = calendar_feed.feeds(bridge.store())
    if bridge.json:
        emit({"schema": "leadline.calendars/1", "calendars": [_as_json(f) for f in found]})
        return
    for f in found:
        last = f"last read {iso(f.fetched)}" if f.fetched else "not read yet"
        click.echo(f"{f.name}: for {f.person or 'all'}; {', '.join(f.systems) or 'all systems'}; {last}")
    if not found:
        click.echo("No address stands: leadline calendar make NAME makes one.")


@click.command(short_help="Take an address back.")
@click.argument("name")
@click.pass_obj
def revoke(bridge: Bridge, name: str) -> None:
    """Take the address NAME back: it leads nowhere from now on.

    \b
    Examples:
      leadline calendar revoke phone
    """
    from leadline.app import calendar_feed

    calendar_feed.revoke(bridge.store(), name)
    click.echo(f"Taken back: {name}")


def _as_json(f: Feed) -> dict[str, Any]:
    return {"name": f.name, "person": f.person or None, "systems": list(f.systems), "made": f.made,
            "fetched": f.fetched}  # fmt: skip
