"""`leadline learn`: fit the simulator to a system's own records."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from leadline.cli.output import emit, table

if TYPE_CHECKING:
    from leadline.cli.main import Bridge
    from leadline.estimate.learn import Fit

_UNITS = {"heat-loss": "W/K", "evaporation": "L/d", "gas-exchange": "L/h", "calcification": "mol/d",
          "nitrate-export": "mol/d", "phosphate-export": "mol/d", "volume": "L"}  # fmt: skip


@click.command(short_help="Fit the simulator to a system's own records.")
@click.argument("system")
@click.option("--days", type=int, default=45, show_default=True, help="How far back the records are read.")
@click.option("--forget", is_flag=True, help="Forget what was learned; simulations go back to practice.")
@click.pass_obj
def learn(bridge: Bridge, system: str, days: int, forget: bool) -> None:
    """Learn heat loss, evaporation, gas exchange, demand, export and volume of SYSTEM from its journal and streams.

    What is learned is kept and used by the next simulation. What the records hardly tell, or can't tell apart, is
    named. Records that help most: the heater's state, the water's temperature, pH, and how much is topped up.

    \b
    Examples:
      leadline learn north-room
      leadline learn north-room --days 90 --json
    """
    from leadline.app import learn as app
    from leadline.wiring import compiled_folder

    if forget:
        bridge.store().put_record(app.LEARNED, system, None)
        click.echo(f"Forgotten: {system} is simulated from its description and practice again.")
        return
    found = app.learn(
        bridge.store(), bridge.clock, system, days=days, cache=compiled_folder(), as_of=bridge.as_of(system),
        keep=bridge.as_of(system) is None, say=lambda line: click.echo(line, err=True),
    )  # fmt: skip
    if bridge.json:
        emit({"schema": "leadline.learned/1", "system": system, **_plain(found, days)})
        return
    _show(system, found)


def _plain(found: Fit, days: int) -> dict[str, Any]:
    import datetime as dt

    from leadline.app.learn import as_record

    record = as_record(found, dt.datetime(1970, 1, 1, tzinfo=dt.UTC), days)
    for inner in ("begin", "until", "joint", "before"):
        del record[inner]
    return record


def _show(system: str, found: Fit) -> None:
    rows = []
    for name, v in found.learned.items():
        best = found.volume_l[0] if name == "volume" else found.rates.get(name)
        unit = _UNITS.get(name, "of practice") if best else "of practice"
        said = [_three(best), f"{_three(best * v.q05 / v.q50)} to {_three(best * v.q95 / v.q50)}"] if best else [
            f"{v.q50:.2f} ×", f"{v.q05:.2f} to {v.q95:.2f} ×"]  # fmt: skip
        told = "hardly told" if name in found.silent else f"{100 * v.gained:.0f} % less doubt"
        rows.append([name.replace("-", " "), *said, unit, told])
    click.echo(table([system, "best", "5 to 95 %", "", "than before"], rows, {1, 2}))
    for a, b, _ in found.together:
        click.echo(f"Not told apart: {a.replace('-', ' ')} and {b.replace('-', ' ')}.")
    if found.strained:
        names = ", ".join(n.replace("-", " ").replace(":", " of ") for n in found.strained)
        click.echo(f"Doubt this fit: {names} had to go far beyond what was believed. Check the description first.")
    told = ", ".join(f"{n} of {k}" for k, n in found.used.items())
    click.echo(click.style(f"From {told}.", dim=True))


def _three(value: float) -> str:
    return f"{value:.3g}" if abs(value) < 1000.0 else f"{value:.0f}"
