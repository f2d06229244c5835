"""`leadline system new | part | drop | undo`: a system set up in small steps, as on the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from leadline.cli.amounts import pairs

if TYPE_CHECKING:
    from leadline.cli.main import Bridge
    from leadline.system.description import System


def _say(bridge: Bridge, done: System, verb: str) -> None:
    from leadline.cli.systems import say

    say(bridge, done, verb)


@click.command()
@click.argument("name")
@click.option("--volume", default="", metavar="VOLUME", help="Net volume of the water, such as 1150L or '300 gal'.")
@click.option("--size", nargs=3, metavar="LENGTH DEPTH HEIGHT", help="Instead: inner size of the one tank.")
@click.option("--time-zone", default="UTC", show_default=True, metavar="ZONE", help="IANA time zone.")
@click.option("--units", type=click.Choice(["metric", "us"]), default="metric", show_default=True,
              help="What screens show.")  # fmt: skip
@click.option("--purpose", default="", help="display, satellite, quarantine, fish-quarantine, hospital …")
@click.pass_obj
def new(bridge: Bridge, name: str, volume: str, size: tuple[str, str, str] | None, time_zone: str, units: str,
        purpose: str) -> None:  # fmt: skip
    """Describe a system called NAME by how much water it holds; the rest can wait.

    \b
    Examples:
      leadline system new "North room" --volume "1150 L" --time-zone Europe/Oslo
      leadline system new "Frag tank" --size "90 cm" "45 cm" "30 cm"
    """
    from leadline.app import set_up

    made = set_up.begin(
        bridge.store(), bridge.clock, name=name, volume=volume, size=size or (), time_zone=time_zone, units=units,
        purpose=purpose,
    )  # fmt: skip
    _say(bridge, made, "Added")


@click.command()
@click.argument("ident", metavar="ID")
@click.argument("kind")
@click.argument("said", nargs=-1, required=True, metavar="KEY=VALUE...")
@click.option("--of", "key", default="", metavar="NAME", help="Change the part of that name; without it one is added.")
@click.pass_obj
def part(bridge: Bridge, ident: str, kind: str, said: tuple[str, ...], key: str) -> None:
    """Add or change one part of system ID: a vessel, equipment, stream, method, band, solution or neighbour.

    KIND system and room change the head and the room. A value left empty (KEY=) is taken out. Two ends of a band
    are aim.0 and aim.1, sizes inner_size.0 to .2.

    \b
    Examples:
      leadline system part north-room vessel id=sump volume="80 L"
      leadline system part north-room band quantity=alkalinity aim.0="7.5 dKH" aim.1="9 dKH"
      leadline system part north-room vessel --of sump volume="85 L"
    """
    from leadline.app import set_up

    put = set_up.put(bridge.store(), bridge.clock, ident, kind, key, pairs(said, 'volume="80 L"'))
    _say(bridge, put, "Changed")


@click.command()
@click.argument("ident", metavar="ID")
@click.argument("kind")
@click.argument("key", metavar="NAME")
@click.pass_obj
def drop(bridge: Bridge, ident: str, kind: str, key: str) -> None:
    """Take a part out of the description of system ID; the description before is kept.

    \b
    Examples:
      leadline system drop north-room vessel sump
      leadline system drop north-room method "alkalinity titration"
    """
    from leadline.app import set_up

    _say(bridge, set_up.drop(bridge.store(), bridge.clock, ident, kind, key), "Changed")


@click.command()
@click.argument("ident", metavar="ID")
@click.pass_obj
def undo(bridge: Bridge, ident: str) -> None:
    """Put back the description of system ID that stood before the present one.

    \b
    Example:
      leadline system undo north-room
    """
    from leadline.app import set_up

    _say(bridge, set_up.undo(bridge.store(), bridge.clock, ident), "Put back")


COMMANDS = (new, part, drop, undo)
