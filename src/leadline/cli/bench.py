"""`leadline bench`: one-off calculations, each with its source and its caution."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from leadline.cli.amounts import NUMBER, Amounts
from leadline.cli.output import emit
from leadline.measures.errors import BadInput
from leadline.measures.figures import number

if TYPE_CHECKING:
    from leadline.app.calculate import Worked
    from leadline.cli.main import Bridge

_T = click.option(
    "--temperature", "-t", type=NUMBER, default=25.0, show_default=True, metavar="°C", help="Of the water."
)
_S = click.option("--salinity", "-s", type=NUMBER, default=35.0, show_default=True, metavar="PSU", help="Of the water.")


@click.group(short_help="One-off calculations, each with its source and its caution.")
def bench() -> None:
    """Reckon one thing; nothing is read or written.

    \b
    Examples:
      leadline bench convert alkalinity "8 dKH" meq/L
      leadline bench carbonate "8 dKH" --ph 8.2
      leadline bench dose alkalinity "1 dKH" "400 L" sodium-bicarbonate
    """


def _show(bridge: Bridge, done: Worked) -> None:
    if bridge.json:
        emit({
            "schema": "leadline.bench/1", "calculation": done.name,
            "results": [{"what": x.what, "value": x.value, "unit": x.unit} for x in done.lines],
            "source": done.source, "caution": done.caution, "assumed": list(done.assumed),
        })  # fmt: skip
        return
    for x in done.lines:
        click.echo(f"{x.what}: {number(x.value, x.digits)} {x.unit}".rstrip())
    for line in done.assumed:
        click.echo(click.style(f"assumed: {line}", dim=True))
    click.echo(click.style(f"source: {done.source}", dim=True))
    if done.caution:
        click.echo(f"Caution: {done.caution}")


@bench.command(cls=Amounts)
@click.argument("quantity")
@click.argument("amount")
@click.argument("unit")
@_T
@_S
@click.pass_obj
def convert(bridge: Bridge, quantity: str, amount: str, unit: str, temperature: float, salinity: float) -> None:
    """QUANTITY AMOUNT in another UNIT.

    \b
    Examples:
      leadline bench convert salinity "1.0264 sg@25/25" psu
      leadline bench convert phosphate "33 ug/L P" mg/L
    """
    from leadline.app import calculate

    _show(bridge, calculate.converted(quantity, amount, unit, temperature, salinity))


@bench.command(cls=Amounts)
@click.argument("alkalinity")
@click.option("--ph", type=NUMBER, metavar="PH", help="As an NBS-calibrated probe shows it.")
@click.option("--air", type=NUMBER, metavar="PPM", help="CO2 of the room, dry air; the water in balance with it.")
@_T
@_S
@click.pass_obj
def carbonate(
    bridge: Bridge, alkalinity: str, ph: float | None, air: float | None, temperature: float, salinity: float
) -> None:
    """pH, CO2 and aragonite saturation from ALKALINITY and a pH or the room's CO2.

    \b
    Examples:
      leadline bench carbonate "8 dKH" --ph 8.2
      leadline bench carbonate "8 dKH" --air 700
    """
    from leadline.app import calculate

    _show(bridge, calculate.carbonate(temperature, salinity, alkalinity, ph, air))


@bench.command(cls=Amounts)
@_T
@_S
@click.pass_obj
def oxygen(bridge: Bridge, temperature: float, salinity: float) -> None:
    """Oxygen that the water can hold.

    \b
    Example:
      leadline bench oxygen -t 26 -s 35
    """
    from leadline.app import calculate

    _show(bridge, calculate.oxygen(temperature, salinity))


@bench.command(cls=Amounts)
@click.argument("total", type=NUMBER)
@click.argument("ph", type=NUMBER)
@_T
@_S
@click.pass_obj
def ammonia(bridge: Bridge, total: float, ph: float, temperature: float, salinity: float) -> None:
    """Free ammonia of a TOTAL (mg/L as N) at a probe's PH.

    \b
    Example:
      leadline bench ammonia 0.25 8.2 -t 26
    """
    from leadline.app import calculate

    _show(bridge, calculate.ammonia(total, ph, temperature, salinity))


@bench.command(cls=Amounts)
@click.argument("volume1")
@click.argument("salinity1", type=NUMBER)
@click.argument("volume2")
@click.argument("salinity2", type=NUMBER)
@_T
@click.pass_obj
def mix(bridge: Bridge, volume1: str, salinity1: float, volume2: str, salinity2: float, temperature: float) -> None:
    """Salinity of two waters poured together.

    \b
    Example:
      leadline bench mix "380 L" 33 "20 L" 40
    """
    from leadline.app import calculate

    _show(bridge, calculate.mixed((volume1, salinity1), (volume2, salinity2), temperature))


@bench.command(cls=Amounts)
@click.argument("volume")
@click.argument("salinity", type=NUMBER)
@click.argument("lost")
@_T
@click.pass_obj
def evaporate(bridge: Bridge, volume: str, salinity: float, lost: str, temperature: float) -> None:
    """Salinity after LOST pure water evaporated from VOLUME.

    \b
    Example:
      leadline bench evaporate "400 L" 35 "8 L"
    """
    from leadline.app import calculate

    _show(bridge, calculate.evaporated(volume, salinity, lost, temperature))


@bench.command(cls=Amounts)
@click.argument("volume")
@click.argument("now", type=NUMBER)
@click.argument("wanted", type=NUMBER)
@_T
@click.pass_obj
def salt(bridge: Bridge, volume: str, now: float, wanted: float, temperature: float) -> None:
    """Dry salt that raises VOLUME from salinity NOW to WANTED.

    \b
    Example:
      leadline bench salt "400 L" 33 35
    """
    from leadline.app import calculate

    _show(bridge, calculate.salt(volume, now, wanted, temperature))


@bench.command(cls=Amounts)
@click.argument("volume")
@click.argument("now", type=NUMBER)
@click.argument("wanted", type=NUMBER)
@click.argument("new", type=NUMBER)
@click.pass_obj
def exchange(bridge: Bridge, volume: str, now: float, wanted: float, new: float) -> None:
    """How much of VOLUME to exchange for water of value NEW to get from NOW to WANTED.

    \b
    Example:
      leadline bench exchange "400 L" 36.5 35.5 33
    """
    from leadline.app import calculate

    _show(bridge, calculate.exchange(volume, now, wanted, new))


@bench.command(cls=Amounts)
@click.argument("quantity")
@click.argument("rise")
@click.argument("volume")
@click.argument("substance")
@click.pass_obj
def dose(bridge: Bridge, quantity: str, rise: str, volume: str, substance: str) -> None:
    """Grams of SUBSTANCE that raise QUANTITY by RISE in VOLUME of net water.

    \b
    Examples:
      leadline bench dose alkalinity "1 dKH" "100 L" sodium-bicarbonate
      leadline bench dose calcium "10 mg/L" "400 L" calcium-chloride-dihydrate
    """
    from leadline.app import calculate

    _show(bridge, calculate.dose(quantity, rise, volume, substance))


@bench.command(cls=Amounts)
@click.option("--tank", "tanks", multiple=True, nargs=3, metavar="LENGTH DEPTH HEIGHT", help="Inner sizes of water.")
@click.option("--vessel", "vessels", multiple=True, metavar="VOLUME", help="A sump or pipes, at the running level.")
@click.option("--rock", default="", metavar="MASS", help="Dry rock in the water.")
@click.option("--sand", default="", metavar="MASS", help="Dry sand in the water.")
@click.option("--exchanged", default="", metavar="VOLUME", help="Out and in, in one exchange.")
@click.option("--salinity", nargs=3, metavar="BEFORE AFTER NEW", help="By one instrument, around that exchange.")
@click.option("--dosed", nargs=2, metavar="MASS SUBSTANCE", help="A weighed dose.")
@click.option("--rose", nargs=3, metavar="QUANTITY BEFORE AFTER", help="What one kit showed around that dose.")
@click.pass_obj
def volume(bridge: Bridge, tanks: tuple[tuple[str, str, str], ...], vessels: tuple[str, ...], rock: str, sand: str,
           exchanged: str, salinity: tuple[str, str, str] | None, dosed: tuple[str, str] | None,
           rose: tuple[str, str, str] | None) -> None:  # fmt: skip
    """How much water there is, by sizes, by an exchange, by a dose, or by all of them together.

    \b
    Examples:
      leadline bench volume --tank "2.00 m" "0.75 m" "0.65 m" --vessel "180 L" --rock "90 kg"
      leadline bench volume --exchanged "100 L" --salinity 34.0 34.4 38.0
      leadline bench volume --dosed "60 g" sodium-bicarbonate --rose alkalinity "7.5 dKH" "9.4 dKH"
    """
    from leadline.app import volume as app

    ways = []
    if tanks or vessels:
        ways.append(app.from_sizes(tanks, vessels, rock, sand))
    if exchanged or salinity:
        if not (exchanged and salinity):
            raise BadInput("--exchanged and --salinity go together", way_out="Give both.")
        ways.append(app.from_exchange(exchanged, *salinity))
    if dosed or rose:
        if not (dosed and rose):
            raise BadInput("--dosed and --rose go together", way_out="Give both.")
        ways.append(app.from_dose(rose[0], dosed[0], dosed[1], rose[1], rose[2]))
    _show(bridge, app.together(ways))
