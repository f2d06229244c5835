"""`leadline watch orders`, `secret`, `token`, `adopt`, `held`: what the keeper tells the watch, and what came in."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from leadline.cli.amounts import pairs
from leadline.cli.output import emit
from leadline.measures.errors import BadInput, Unreachable

if TYPE_CHECKING:
    from leadline.cli.main import Bridge
    from leadline.store.secrets import Secrets
    from leadline.system.orders import Orders


@click.command(short_help="Who is called and how, what comes in: show or give them.")
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("--example", is_flag=True, help="Print orders to begin with.")
@click.option("--nobody", is_flag=True, help="Give orders that call nobody: for a machine that only records.")
@click.pass_obj
def orders(bridge: Bridge, file: Path | None, example: bool, nobody: bool) -> None:
    """Give the standing orders in FILE, or show those that stand.

    A running watch takes new ones up within seconds. A path that is set up otherwise than before is unproved at once.

    \b
    Examples:
      leadline watch orders --example > orders.toml
      leadline watch orders orders.toml
      leadline watch orders
    """
    from leadline.app import stand_orders
    from leadline.system.orders import parse
    from leadline.wiring import make_signals

    if example:
        click.echo(stand_orders.EXAMPLE, nl=False)
        return
    if file is None:
        said = stand_orders.document(bridge.store())
        if not said:
            raise BadInput(
                "no orders stand: nobody is told of anything",
                way_out="leadline watch orders --example > orders.toml; change it; leadline watch orders orders.toml",
            )
        click.echo(said, nl=not said.endswith("\n"))
        return
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as exc:
        raise Unreachable(f"cannot be read: {getattr(exc, 'strerror', None) or exc}", where=str(file)) from exc
    store = bridge.store()
    try:
        if not parse(text).people and not nobody:
            raise BadInput(
                "nobody would be called",
                way_out="Add [[person]] with its paths, or say --nobody for a machine that only records.",
            )
        given = stand_orders.give(store, text)
    except BadInput as exc:
        raise BadInput(exc.line(), where=str(file)) from exc
    make_signals(store, bridge.path).settle_prints(bridge.clock.now().timestamp())
    if given.unknown:
        click.echo(f"Not known, and not used: {', '.join(given.unknown)}", err=True)
    people = ", ".join(f"{p.name} by {', '.join(p.paths)}" for p in given.people)
    click.echo(f"Orders stand. Called: {people or 'nobody'}. Feeds: {', '.join(f.id for f in given.feeds) or 'none'}.")
    missing = [name for name in given.secrets() if _secrets(bridge).get(name) is None]
    for name in missing:
        click.echo(f"Its secret is missing: leadline watch secret {name}", err=True)
    for line in _not_here(given):
        click.echo(line, err=True)
    if len(given.people) == 1:
        click.echo("One person only: name a second for the night when the first does not answer.", err=True)


def _not_here(given: Orders) -> list[str]:
    """What the orders name and this machine lacks: they may be meant for another one, so it is only said."""
    import shutil

    from leadline.system.orders import CommandPath, FileFeed

    found = []
    for path in given.paths.values():
        if isinstance(path, CommandPath) and shutil.which(path.command[0]) is None:
            found.append(f"Path {path.id}: the program {path.command[0]} is not found on this machine.")
    for feed in given.feeds:
        if isinstance(feed, FileFeed) and not Path(feed.path).expanduser().absolute().parent.is_dir():
            found.append(f"Feed {feed.id}: there is no folder {Path(feed.path).parent} on this machine.")
    return found


@click.command(short_help="Keep a password or an address that the orders refer to.")
@click.argument("name", required=False)
@click.option("--forget", is_flag=True, help="Forget it.")
@click.pass_obj
def secret(bridge: Bridge, name: str | None, forget: bool) -> None:
    """Keep the secret NAME: it is asked for without being shown, or read from standard input.

    It is kept beside the store in a file that only you may read, and is in no backup, export or log. Without NAME the
    names are listed.

    \b
    Examples:
      leadline watch secret mail
      leadline watch secret mail < password.txt
    """
    from leadline.app import stand_orders
    from leadline.wiring import make_signals

    kept = _secrets(bridge)
    store = bridge.store()
    if name is None:
        found = kept.names()
        wanted = stand_orders.standing(store).secrets()
        if bridge.json:
            emit({"schema": "leadline.secrets/1", "given": found, "missing": [n for n in wanted if n not in found]})
            return
        for one in sorted({*found, *wanted}):
            click.echo(f"{one}  {'given' if one in found else 'missing'}")
        if not found and not wanted:
            click.echo("No secrets.")
        return
    if forget:
        if kept.get(name) is None:
            raise BadInput(f"no secret {name!r}", way_out="leadline watch secret lists them.")
        kept.put(name, None)
        click.echo(f"Forgotten: {name}")
    else:
        if sys.stdin.isatty():
            value = click.prompt(f"Secret {name}", hide_input=True)
        else:
            value = sys.stdin.readline().rstrip("\r\n")
        if not value:
            raise BadInput("nothing was given", way_out="Type the secret, or send it on standard input.")
        kept.put(name, value)
        click.echo(f"Kept: {name}")
    make_signals(store, bridge.path).settle_prints(bridge.clock.now().timestamp())
    store.put_record("watch", "secrets changed", bridge.clock.now().isoformat())  # a running watch looks again


@click.command(short_help="Make or take back a token with which a device may post points.")
@click.argument("name", required=False)
@click.option("--revoke", is_flag=True, help="Take it back.")
@click.pass_obj
def token(bridge: Bridge, name: str | None, revoke: bool) -> None:
    """Make a token NAME and print it once: only its hash is kept. Without NAME the names are listed.

    A device sends it with its points: POST /api/streams, header "Authorization: Bearer TOKEN", body JSON lines
    {"system": …, "stream": …, "t": …, "v": …}, up to 10,000 a request.

    \b
    Examples:
      leadline watch token sump-board
      leadline watch token sump-board --revoke
    """
    from leadline.app import stand_orders

    store = bridge.store()
    if name is None:
        found = stand_orders.tokens(store)
        click.echo("\n".join(found) if found else "No tokens.")
        return
    if revoke:
        stand_orders.revoke_token(store, name)
        click.echo(f"Taken back: {name}")
        return
    click.echo(stand_orders.new_token(store, bridge.clock, name))


@click.command(short_help="Take up a stream that came in and that nobody declared.")
@click.argument("system", required=False)
@click.argument("stream", required=False)
@click.option("--quantity", default="", help="What it measures; its own name when that is a quantity.")
@click.option("--unit", default="", help="The unit it sends; the stored one otherwise.")
@click.option("--period", default="60 s", show_default=True, help="How often it should send.")
@click.option("--room", is_flag=True, help="It is of the room's air, not of the water.")
@click.option("--state", is_flag=True, help="It tells whether a machine runs: 0 and 1, or watts.")
@click.pass_obj
def adopt(
    bridge: Bridge,
    system: str | None,
    stream: str | None,
    quantity: str,
    unit: str,
    period: str,
    room: bool,
    state: bool,
) -> None:
    """Add a stream that came in to its system's description; without arguments list those that wait for it.

    \b
    Examples:
      leadline watch adopt
      leadline watch adopt north-room probe-2 --quantity temperature --unit degF
      leadline watch adopt north-room heater-1 --state
    """
    from leadline.app import oversee

    store = bridge.store()
    if system is None or stream is None:
        found = [s for s in oversee.streams(store) if not s.declared]
        if bridge.json:
            emit({"schema": "leadline.offered/1", "streams": [{"system": s.system, "stream": s.stream} for s in found]})
            return
        for s in found:
            click.echo(f"{s.system}  {s.stream}")
        if not found:
            click.echo("Every stream that came in is declared.")
        return
    taken = oversee.adopt(
        store, bridge.clock, system, stream, quantity_name=quantity, unit=unit, period=period, room=room, state=state
    )
    click.echo(f"Taken up: {stream} of {system}, as {taken}")


@click.command(short_help="Add or change one part of the orders: a person, a way, waits, proofs.")
@click.argument("kind")
@click.argument("said", nargs=-1, required=True, metavar="KEY=VALUE...")
@click.option("--of", "key", default="", metavar="NAME", help="Change the part of that name; without it one is added.")
@click.pass_obj
def part(bridge: Bridge, kind: str, said: tuple[str, ...], key: str) -> None:
    """Add or change one part of the standing orders: person, path, watch, escalation or proof, as on the page.

    \b
    Examples:
      leadline watch part path id=mail kind=mail to=keeper@home.example server=mail.home.example:587 user=reef
      leadline watch part person id=keeper name=Keeper paths=mail
      leadline watch part person --of keeper hours=07:00-22:30
    """
    from leadline.app import orders_set_up
    from leadline.wiring import make_signals

    store = bridge.store()
    _, wanted = orders_set_up.put(store, kind, key, pairs(said, "name=Keeper"))
    make_signals(store, bridge.path).settle_prints(bridge.clock.now().timestamp())
    click.echo("The orders are changed.")
    if wanted and _secrets(bridge).get(wanted) is None:
        click.echo(f"Its secret is missing: leadline watch secret {wanted}", err=True)


@click.command(short_help="Take a person or a way out of the orders.")
@click.argument("kind")
@click.argument("key", metavar="NAME")
@click.pass_obj
def drop(bridge: Bridge, kind: str, key: str) -> None:
    """Take a part out of the standing orders.

    \b
    Example:
      leadline watch drop person neighbour
    """
    from leadline.app import orders_set_up
    from leadline.wiring import make_signals

    store = bridge.store()
    orders_set_up.drop(store, kind, key)
    make_signals(store, bridge.path).settle_prints(bridge.clock.now().timestamp())
    click.echo("The orders are changed.")


@click.command(short_help="What came in and was no point.")
@click.option("--forget", is_flag=True, help="Forget all of it.")
@click.pass_obj
def held(bridge: Bridge, forget: bool) -> None:
    """Show what feeds brought that is no point, or has an impossible time, newest first.

    \b
    Examples:
      leadline watch held
      leadline watch held --forget
    """
    import datetime as dt

    store = bridge.store()
    if forget:
        click.echo(f"Forgotten: {store.release_held()}")
        return
    for h in store.held():
        when = dt.datetime.fromtimestamp(h.at_s, dt.UTC)
        if bridge.json:
            emit({"schema": "leadline.held/1", "at": when, "feed": h.feed, "system": h.system, "stream": h.stream,
                  "text": h.words, "why": h.why})  # fmt: skip
        else:
            click.echo(f"{when:%Y-%m-%d %H:%M:%SZ}  {h.feed}  {h.system}/{h.stream}  {h.words!r}: {h.why}")
    if not store.held_count() and not bridge.json:
        click.echo("Nothing is held.")


def _secrets(bridge: Bridge) -> Secrets:
    from leadline.store.secrets import Secrets

    return Secrets.beside(bridge.path)
