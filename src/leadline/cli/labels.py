"""`leadline system labels`: labels with QR codes, as one file to print or as one SVG each."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from leadline.cli.output import emit, whole_file
from leadline.measures.errors import BadInput, Unreachable

if TYPE_CHECKING:
    from leadline.cli.main import Bridge


@click.command(short_help="Labels with QR codes that open the right form.")
@click.argument("ident", metavar="ID")
@click.option("--address", metavar="URL", default="", help="How a phone reaches the pages; else as the orders say.")
@click.option("--only", multiple=True, metavar="WHICH", help="vessel, vessel:display or display; may be repeated.")
@click.option("--size", default="a4-63x34", show_default=True,
              help="a4-63x34, a4-70x37, a4-99x38, a4-38x21, letter-67x25 or grid.")  # fmt: skip
@click.option(
    "--skip", type=click.IntRange(0, 64), default=0, help="So many places of the first sheet are used already."
)
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE", help="One HTML file that needs no other.")
@click.option("--svg", type=click.Path(path_type=Path), metavar="FOLDER", help="One SVG a label, named kind-id.svg.")
@click.pass_obj
def labels(
    bridge: Bridge, ident: str, address: str, only: tuple[str, ...], size: str, skip: int, out: Path | None,
    svg: Path | None,
) -> None:  # fmt: skip
    """Make labels for the vessels, machines, probes and instruments of system ID.

    Each carries a QR code that opens the form for that very thing on a phone.

    \b
    Examples:
      leadline system labels north-room --address http://192.168.1.20:8077 --out labels.html
      leadline system labels north-room --address http://192.168.1.20:8077 --only equipment --svg codes
    """
    from leadline.app import describe
    from leadline.present import labels as made

    system = describe.load(bridge.store(), ident)
    at = made.base(address or _ordered(bridge))
    on = made.sheet(size)
    which = made.chosen(system, only) if only else made.things(system)
    if not which:
        raise BadInput(f"{system.name} names no vessel, machine, probe or method", way_out="Describe them first.")
    if (out is None) == (svg is None):
        raise BadInput("say where the labels go", way_out="Either --out labels.html or --svg FOLDER.")
    ready = made.labels(system, at, which)
    if out is not None:
        from leadline.web.pages.labels import alone
        from leadline.web.site import templates

        page = alone(templates(), f"Labels: {system.name}", made.sheets(ready, on, skip), on)
        with whole_file(out) as file:
            file.write(page.encode())
    elif svg is not None:
        _write_each(svg, {f"{x.thing.kind}-{_plain(x.thing.id)}.svg": made.alone(x) for x in ready})
    if bridge.json:
        emit({
            "schema": "leadline.labels/1", "system": system.id, "to": str(out or svg),
            "labels": [{"kind": x.thing.kind, "id": x.thing.id, "name": x.thing.name, "address": x.address}
                       for x in ready],
        })  # fmt: skip
        return
    click.echo(f"{len(ready)} label{'' if len(ready) == 1 else 's'} in {out or svg}. Print at full size.")
    if made.only_here(at):
        click.echo(f"note: {at} leads to this machine alone; a phone can't reach it", err=True)


def _ordered(bridge: Bridge) -> str:
    from leadline.app import stand_orders

    found = stand_orders.standing(bridge.store()).address
    if not found:
        raise BadInput(
            "nobody said how a phone reaches the pages", way_out="Say it with --address http://192.168.1.20:8077."
        )
    return found


def _plain(ident: str) -> str:
    return "".join(c if c.isalnum() or c in "-_" else "_" for c in ident)


def _write_each(folder: Path, found: dict[str, str]) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as exc:
        raise Unreachable(
            f"the folder can't be made ({exc.strerror})", where=str(folder), way_out="Choose another place."
        ) from exc
    for name, text in found.items():
        with whole_file(folder / name) as file:
            file.write(text.encode())
