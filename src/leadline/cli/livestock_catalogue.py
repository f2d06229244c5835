"""`leadline livestock catalogue`: what is known of kinds, pests, agents and hazards; your own entries before ours."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from leadline.cli.output import emit
from leadline.measures.errors import BadInput

if TYPE_CHECKING:
    from leadline.cli.main import Bridge
    from leadline.livestock.kinds import Catalogue

EXAMPLE = """\
# Your own entries stand before ours, by their id, and survive updates. Every fact has a range and a mark:
# source (with its citation), derived, memory, practice, judgement, or own for what you measured yourself.

[[kind]]
id = "pink-tailed-trigger"
group = "fish"
scientificName = "Melichthys vidua"
vernacularName = "pinktail triggerfish"
family = "Balistidae"
tags = ["reef-fish", "large-fish", "triggerfish"]
facts = [
  { what = "adult-length", low = 30, high = 40, unit = "cm", mark = "memory" },
  { what = "sight", low = 1, high = 2, unit = "d", mark = "own" },
]
risks = [
  { how = "eats", to = ["shrimp", "crab"], certainty = "reported", says = "takes crustaceans", mark = "practice" },
]
"""


@click.command(short_help="Kinds, pests, agents and hazards; add your own.")
@click.argument("name", required=False)
@click.option(
    "--add", "added", type=click.Path(path_type=Path), metavar="FILE", help="Keep a file of your own entries."
)
@click.option("--drop", "dropped", metavar="NAME", help="Forget one of your own, such as kind/my-goby.")
@click.option("--example", is_flag=True, help="Print a file to begin with.")
@click.option("--schema", "shape", is_flag=True, help="Print the JSON Schema of such a file.")
@click.pass_obj
def catalogue(bridge: Bridge, name: str | None, added: Path | None, dropped: str | None, example: bool,
              shape: bool) -> None:  # fmt: skip
    """List the catalogue, or show one entry with every fact's range, conditions and origin.

    \b
    Examples:
      leadline livestock catalogue
      leadline livestock catalogue "Acropora-eating flatworm"
      leadline livestock catalogue --example > own.toml
      leadline livestock catalogue --add own.toml
    """
    from leadline.app import catalogue as cat

    if example:
        click.echo(EXAMPLE, nl=False)
        return
    if shape:
        emit(cat.schema())
        return
    store = bridge.store()
    if added is not None:
        try:
            text = added.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as exc:
            said = exc.strerror if isinstance(exc, OSError) else "it is not UTF-8 text"
            raise BadInput(f"it cannot be read: {said}", where=str(added), way_out="Give a TOML file.") from exc
        names = cat.add(store, text, str(added))
        click.echo(f"Kept: {', '.join(names)}. They stand before ours of the same id.")
        return
    if dropped:
        again = cat.drop(store, dropped)
        click.echo(f"Forgot {dropped}." + (" Ours stands there again." if again else ""))
        return
    c = cat.catalogue(store)
    if name:
        _one(bridge, c, name)
        return
    if bridge.json:
        emit({"schema": "leadline.catalogue/1", "kinds": list(c.kinds), "pests": list(c.pests),
              "agents": list(c.agents), "hazards": list(c.hazards)})  # fmt: skip
        return
    for title, entries in (("Kinds", c.kinds), ("Pests", c.pests), ("Agents", c.agents), ("Hazards", c.hazards)):
        click.echo(click.style(title, bold=True))
        click.echo("  " + ", ".join(f"{i}*" if e.own else i for i, e in entries.items()))
    click.echo(click.style("* your own", dim=True))


def _one(bridge: Bridge, c: Catalogue, name: str) -> None:
    """One entry, whichever part of the catalogue it stands in."""
    from dataclasses import asdict, is_dataclass

    from leadline.present import stock as said

    found = c.entry(name)
    if bridge.json and is_dataclass(found) and not isinstance(found, type):
        emit({"schema": "leadline.catalogue-entry/1", **asdict(found)})
        return
    click.echo(click.style(said.entry_named(found), bold=True))
    for line, origin in said.entry_lines(c, found):
        click.echo(f"  {line}" + click.style(f"  [{origin}]", dim=True) if origin else f"  {line}")
