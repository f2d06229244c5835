"""`leadline livestock`: who lives where; the register, animals, the check before anything is bought or moved."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from leadline.cli.amounts import NUMBER
from leadline.cli.lazy import LazyGroup
from leadline.cli.output import emit, table
from leadline.measures.errors import BadInput

if TYPE_CHECKING:
    from leadline.app.stock import House
    from leadline.cli.main import Bridge

COMMANDS: dict[str, tuple[str, str, str]] = {
    "list": ("livestock", "listed", "Who lives where, and when each was last seen."),
    "show": ("livestock", "show", "One animal or group: where it was, what was noted, what its kind needs."),
    "check": ("livestock", "check", "What speaks against keeping a kind here, before it is bought or moved."),
    "arrive": ("livestock_log", "arrive", "An animal, a group, a coral or a rock comes."),
    "move": ("livestock_log", "move", "It goes to another system, or to somebody else."),
    "lose": ("livestock_log", "lose", "It died or left, with what an examination found."),
    "seen": ("livestock_log", "seen", "Some were seen, or the whole system was looked over."),
    "note": ("livestock_log", "note", "A sign, a measure, eggs, a hatch."),
    "tell": ("livestock_log", "tell", "Say more of an animal: sex, papers, price, that it can't be had again."),
    "treat": ("livestock_log", "treat", "A dip or a medicine, as it was done."),
    "photo": ("livestock_log", "photo", "Keep a photograph of an animal."),
    "export": ("livestock", "export", "The register as CSV, in terms of Darwin Core."),
    "catalogue": ("livestock_catalogue", "catalogue", "Kinds, pests, agents and hazards; add your own."),
}


class Group(LazyGroup):
    """What is asked of the livestock."""

    table = COMMANDS


@click.group(cls=Group, short_help="Who lives where; arrivals, losses, checks, the catalogue.")
def livestock() -> None:
    """Who lives where and since when, what was seen of them, and what a newcomer could bring.

    \b
    Examples:
      leadline livestock list
      leadline livestock arrive quarantine "Amphiprion ocellaris" --count 2 --from harbour-shop
      leadline livestock check north-room "Chelmon rostratus"
      leadline livestock seen north-room --all
    """


def names(h: House) -> dict[str, str]:
    """Names of systems by id."""
    return {s.id: s.name for s in h.systems.values()}


@click.command(name="list", short_help="Who lives where, and when each was last seen.")
@click.argument("system", required=False)
@click.option("--on", "day", metavar="DAY", help="Who lived where on that day, by what is known now.")
@click.option("--gone", is_flag=True, help="Those that are no longer kept, too.")
@click.pass_obj
def listed(bridge: Bridge, system: str | None, day: str | None, gone: bool) -> None:
    """List livestock, by system.

    \b
    Examples:
      leadline livestock list
      leadline livestock list north-room --on 2026-01-01
      leadline livestock list --gone --json
    """
    from leadline.app import describe, stock
    from leadline.livestock.sight import unseen
    from leadline.measures.figures import span
    from leadline.measures.moments import days_between

    store = bridge.store()
    if system is not None:
        describe.load(store, system)
    from leadline.measures.moments import parse, zone

    first = next(iter(store.systems()), None)
    local = zone(describe.load(store, system or first).time_zone) if first else zone("UTC")
    h = stock.house(store, bridge.clock, bridge.as_of(system), parse(day, local) if day else None)
    places = [system] if system else list(h.systems)
    if bridge.json:
        from leadline.app.answers import livestock as answers

        emit(answers.register(h, places, gone=gone))
        return
    rows = []
    for place in places:
        missing = {u.lot.id: u for u in unseen(h.register, place, h.at)}
        for lot in h.register.at(place):
            last = lot.seen.get(place)
            u = missing.get(lot.id)
            ago = f"{span(days_between(last, h.at))} ago" if last else "never"
            said = f"{ago}{', overdue' if u and u.overdue else ''}"
            rows.append([lot.id, f"{lot.here[place]:g}", lot.kind_said(), h.systems[place].name, said])
    if gone:
        for lot in h.register.lots.values():
            if lot.lives and not lot.alive:
                rows.append([lot.id, "0", lot.kind_said(), "gone", ""])
    if not rows:
        click.echo("Nothing is kept here yet. Log an arrival: leadline livestock arrive SYSTEM KIND")
        return
    click.echo(table(["id", "n", "kind", "where", "last seen"], rows, {1}))
    for line in h.register.odd:
        click.echo(click.style(f"Does not fit together: {line}.", dim=True))


@click.command(short_help="One animal or group: where it was, what was noted, what its kind needs.")
@click.argument("animal")
@click.pass_obj
def show(bridge: Bridge, animal: str) -> None:
    """Show one animal or group.

    \b
    Examples:
      leadline livestock show old-tang
      leadline livestock show old-tang --json
    """
    from leadline.app import stock
    from leadline.measures.figures import moment
    from leadline.measures.moments import zone
    from leadline.present import stock as said

    store = bridge.store()
    h = stock.house(store, bridge.clock, bridge.as_of())
    lot = h.lot(animal)
    hazards = stock.cautions(h, lot)
    if bridge.json:
        from leadline.app.answers import livestock as answers

        emit(answers.animal(store, h, lot))
        return
    local = zone(next(iter(h.systems.values())).time_zone) if h.systems else zone("UTC")
    click.echo(click.style(lot.name, bold=True) + f", {lot.kind_said()}: {said.placed(lot, names(h))}")
    for s in lot.stays:
        until = moment(s.until, local) if s.until else "now"
        click.echo(f"  {s.count:g} in {s.place}, {moment(s.since, local)} to {until}")
    for key, value in lot.about.items():
        if key not in ("kind",):
            click.echo(f"  {key}: {value}")
    for n in lot.notes[-12:]:
        amount = f" {n.value:g} {n.unit}" if n.value is not None else ""
        click.echo(f"  {moment(n.time, local)}  {n.what.replace('-', ' ')}{amount}  {n.words}".rstrip())
    for g in lot.gone:
        exam = "; ".join(f"{k} {v}" for k, v in g.exam.items())
        click.echo(f"  {moment(g.time, local)}  {g.count:g} {g.how} in {g.place}. {g.note} {exam}".rstrip())
    for z in hazards:
        click.echo(click.style(f"▲ {said.hazard_said(z)}", fg="magenta"))
    if lot.kind:
        for f in lot.kind.facts:
            origin = said.origin(h.catalogue, f.mark, f.source)
            click.echo(click.style(f"  {f.what.replace('-', ' ')}: {said.fact_said(f)} [{origin}]", dim=True))


@click.command(short_help="What speaks against keeping a kind here, before it is bought or moved.")
@click.argument("system")
@click.argument("kind")
@click.option("--count", type=NUMBER, default=1.0, show_default=True, help="How many.")
@click.pass_obj
def check(bridge: Bridge, system: str, kind: str, count: float) -> None:
    """Check KIND against everything that lives in SYSTEM: known, likely, reported, unknown.

    Nothing is ever called safe: a pair of which nothing is on record is unknown.

    \b
    Examples:
      leadline livestock check north-room "Chelmon rostratus"
      leadline livestock check north-room pterois --json
    """
    from leadline.app import stock
    from leadline.present import stock as said

    if count <= 0:
        raise BadInput(f"{count:g} of them", way_out="Give how many would come, one or more.")
    c = stock.check(bridge.store(), bridge.clock, system, kind, count, as_of=bridge.as_of(system))
    h = stock.house(bridge.store(), bridge.clock, bridge.as_of(system))
    if bridge.json:
        emit({
            "schema": "leadline.check/1", "system": system, "kind": c.kind.id if c.kind else None, "count": count,
            "concerns": [{
                "certainty": str(x.certainty), "about": x.about, "says": said.concern_said(x, h.register.lots),
                "whom": list(x.whom), "mark": str(x.mark), "source": h.catalogue.origin(x.mark, x.source),
                "unconfirmed": x.mark.unconfirmed, "caution": x.caution,
            } for x in c.concerns],
            "oxygen_mg_h": list(c.load.oxygen_mg_h) if c.load else None,
            "nitrogen_mg_d": list(c.load.nitrogen_mg_d) if c.load else None,
            "could_bring": list(c.pests),
        })  # fmt: skip
        return
    named = f" ({c.kind.scientificName})" if c.kind is not None and c.kind.scientificName != c.name else ""
    click.echo(click.style(f"{count:g} {c.name}{named} in {system}", bold=True))
    if c.guessed and c.kind is not None:
        click.echo(f"{kind!r} is taken as {c.kind.scientificName}: is it?")
    for x in c.concerns:
        mark = f" [{said.label(x.mark)}]" if said.label(x.mark) else ""
        head = click.style(f"{x.certainty:<9}", bold=x.certainty == "known")
        click.echo(f"{head} {x.about}: {said.concern_said(x, h.register.lots)}{mark}")
        if x.caution:
            click.echo(click.style(f"          ▲ {x.caution}", fg="magenta"))
    if c.load:
        oxygen, nitrogen = said.load_said(c.load, c.net_volume_l)
        click.echo(f"Load: {oxygen}; {nitrogen}. [planning figure, unconfirmed]")
    if c.pests:
        click.echo(f"It could bring: {', '.join(c.pests)}.")
    if c.quarantine:
        click.echo(f"Quarantine first: leadline livestock arrive {c.quarantine} ...")


@click.command(short_help="The register as CSV, in terms of Darwin Core.")
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.pass_obj
def export(bridge: Bridge, file: Path | None) -> None:
    """Write who is kept now, one row for each animal or group and place. `leadline import` reads it back.

    \b
    Examples:
      leadline livestock export register.csv
      leadline livestock export --as-of 2026-01-01 > register.csv
    """
    from leadline.app import stock
    from leadline.formats import register_csv

    h = stock.house(bridge.store(), bridge.clock, bridge.as_of())
    text = register_csv.write(h)
    if file is None:
        click.echo(text, nl=False)
        return
    try:
        file.write_text(text, encoding="utf-8", newline="")
    except OSError as exc:
        raise BadInput(f"cannot write it: {exc.strerror}", where=str(file), way_out="Choose another place.") from exc
    click.echo(f"Wrote {text.count(chr(10)) - 1} rows to {file}.")
