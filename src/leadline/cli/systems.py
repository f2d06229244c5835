"""`leadline system`: add, show, list, edit."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from leadline.cli import set_up
from leadline.cli.labels import labels
from leadline.cli.output import emit
from leadline.measures.errors import BadInput, LeadlineError

if TYPE_CHECKING:
    from leadline.cli.main import Bridge
    from leadline.system.description import System


@click.group(short_help="Add, show, list and edit systems.")
def system() -> None:
    """A system is one connected body of water with everything that shares it.

    \b
    Examples:
      leadline system new "North room" --volume "1150 L"
      leadline system add north-room.toml
      leadline system list
      leadline system show north-room --toml > north-room.toml
      leadline system edit north-room north-room.toml
    """


system.add_command(labels)


def _read(file: str) -> str:
    if file == "-":
        return sys.stdin.read()
    path = Path(file)
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as exc:
        raise BadInput("not UTF-8 text", where=file, way_out="Save it as UTF-8.") from exc
    except OSError as exc:
        raise BadInput(f"cannot be read: {exc.strerror}", where=file, way_out="Check the path.") from exc


def say(bridge: Bridge, done: System, verb: str) -> None:
    """What a description came to: its volume, what is assumed, what nobody knows."""
    if done.unknown:
        click.echo(f"note: kept but not understood: {', '.join(done.unknown)}", err=True)
    if bridge.json:
        from leadline.app.answers import systems

        emit(systems.kept(done))
        return
    click.echo(f"{verb} {done.id} ({done.name}), {done.net_volume_l:.0f} ± {done.net_volume_sd_l:.0f} L.")
    for line in done.defaults:
        click.echo(f"  {line}")


@system.command()
@click.argument("file")
@click.pass_obj
def add(bridge: Bridge, file: str) -> None:
    """Describe a new system from a TOML FILE (- for standard input).

    \b
    Example:
      leadline system add north-room.toml
    """
    from leadline.app import describe

    try:
        done = describe.add(bridge.store(), bridge.clock, _read(file))
    except LeadlineError as exc:
        if not exc.where and exc.exit_code == 2:
            raise BadInput(exc.what, where=file, way_out=exc.way_out) from exc
        raise
    say(bridge, done, "Added")


@system.command()
@click.argument("ident", metavar="ID")
@click.argument("file")
@click.pass_obj
def edit(bridge: Bridge, ident: str, file: str) -> None:
    """Replace the description of ID by a TOML FILE; the old one is kept.

    \b
    Example:
      leadline system edit north-room north-room.toml
    """
    from leadline.app import set_up as app

    try:
        done = app.replace_whole(bridge.store(), bridge.clock, ident, _read(file))
    except LeadlineError as exc:
        if exc.where or exc.exit_code != 2 or ident not in bridge.store().systems():
            raise
        raise BadInput(exc.what, where=file, way_out=exc.way_out) from exc
    say(bridge, done, "Changed")


@system.command("list")
@click.pass_obj
def list_(bridge: Bridge) -> None:
    """All systems, id and name.

    \b
    Example:
      leadline system list
    """
    from leadline.app import describe

    found = describe.systems(bridge.store())
    if bridge.json:
        from leadline.app.answers import systems

        emit(systems.listed(found))
        return
    for ident, name in found:
        click.echo(f"{ident}  {name}")
    if not found:
        click.echo("No system is described yet: leadline system add FILE.toml")


@system.command()
@click.argument("ident", metavar="ID")
@click.option("--toml", is_flag=True, help="The description as it was given.")
@click.pass_obj
def show(bridge: Bridge, ident: str, toml: bool) -> None:
    """What stands there.

    \b
    Examples:
      leadline system show north-room
      leadline system show north-room --toml
    """
    from leadline.app import describe
    from leadline.measures import figures

    store = bridge.store()
    if toml:
        click.echo(describe.document(store, ident, bridge.as_of(ident)), nl=False)
        return
    s = describe.load(store, ident, bridge.as_of(ident))
    if bridge.json:
        from leadline.app.answers import systems

        emit(systems.shown(s))
        return
    click.echo(f"{s.name} ({s.id}), {s.time_zone}")
    click.echo(
        f"net volume {s.net_volume_l:.0f} ± {s.net_volume_sd_l:.0f} L; "
        f"vessels: {', '.join(v.id for v in s.vessels) or 'none'}"
    )
    click.echo(f"equipment: {', '.join(f'{e.id} ({e.type})' for e in s.equipment) or 'none'}")
    click.echo(f"streams: {', '.join(x.id for x in s.streams) or 'none'}")
    for q, b in s.bands.items():
        limit = f", limit {figures.band(b.limit, q, s.units)}" if b.limit else ""
        click.echo(f"{q}: aim {figures.band(b.aim, q, s.units)}{limit}")
    for line in s.defaults:
        click.echo(f"note: {line}")


for _command in set_up.COMMANDS:
    system.add_command(_command)
