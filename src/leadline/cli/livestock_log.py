"""`leadline livestock arrive`, `move`, `lose`, `seen`, `note`, `tell`, `treat`, `photo`: what happened to animals."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from leadline.cli.output import emit
from leadline.measures.errors import BadInput, Unreachable

if TYPE_CHECKING:
    from leadline.app.record import Logged
    from leadline.cli.main import Bridge

_AT = click.option("--at", metavar="TIME", help="When it happened, if not now.")
_NOTE = click.option("--note", default="", help="Free text.")
_SYSTEM = click.option("--system", default="", metavar="SYSTEM", help="Where, when it is in several.")


def _said(bridge: Bridge, logged: Logged, words: str) -> None:
    if bridge.json:
        e = logged.entry
        emit({"schema": "leadline.entry/1", "id": e.id, "system": e.system, "kind": e.kind, "subject": e.subject,
              "time": e.time, "extra": dict(e.extra)})  # fmt: skip
        return
    click.echo(f"{words} Take it back with: leadline entry withdraw {logged.entry.id}")


def _pairs(given: tuple[str, ...], option: str) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for pair in given:
        key, sign, value = pair.partition("=")
        if not sign:
            raise BadInput(f"{option} {pair!r} has no =", way_out=f"Write it like {option} sex=female.")
        plain = value.strip()
        found[key.strip()] = {"true": True, "yes": True, "false": False, "no": False}.get(plain.lower(), plain)
    return found


def _against(lines: list[str]) -> None:
    """What speaks against what was just logged."""
    for line in lines:
        click.echo(click.style(f"▲ {line}", fg="magenta"))


@click.command(short_help="An animal, a group, a coral or a rock comes.")
@click.argument("system")
@click.argument("kind")
@click.option("--id", "animal", default="", help="Its own name; made from its kind when none is given.")
@click.option("--count", default="", help="How many came; one when nothing is said.")
@click.option("--from", "source", default="", help="Dealer, keeper or system that it came from.")
@click.option("--about", multiple=True, metavar="KEY=VALUE",
              help="More: sex, lifeStage, origin, papers, price, irreplaceable, length_cm, vessel.")  # fmt: skip
@_AT
@_NOTE
@click.pass_obj
def arrive(
    bridge: Bridge, system: str, kind: str, animal: str, count: str, source: str, about: tuple[str, ...],
    at: str | None, note: str,
) -> None:  # fmt: skip
    """Log an arrival of KIND (an id or a name of the catalogue, or your own words) in SYSTEM.

    \b
    Examples:
      leadline livestock arrive quarantine "Amphiprion ocellaris" --count 2 --from harbour-shop
      leadline livestock arrive quarantine acropora --id blue-acropora --about papers="permit 12/345"
    """
    from leadline.app import stock, stock_log, stock_warn

    against: list[str] = []
    done = stock_log.arrive(
        bridge.store(), bridge.clock, system=system, kind=kind, animal=animal, count=count, source=source, time=at,
        note=note, about=_pairs(about, "--about"),
        last_word=lambda: against.extend(stock_warn.before_it_comes(bridge.store(), bridge.clock, system, kind)),
    )  # fmt: skip
    _said(bridge, done, f"{done.entry.subject} came to {system}.")
    h = stock.house(bridge.store(), bridge.clock)
    lot = h.register.lots[done.entry.subject]
    if not bridge.json:
        if lot.kind is not None or not lot.lives:  # else it stands among what speaks against it
            click.echo(stock.taken_as(h.catalogue, kind, lot))
        _against(against)
        for hazard in stock.cautions(h, lot):
            click.echo(click.style(f"▲ {hazard.name}: {hazard.caution}", fg="magenta"))


@click.command(short_help="It goes to another system, or to somebody else.")
@click.argument("animal")
@click.argument("to")
@_SYSTEM
@click.option("--count", default="", help="How many of a group; all when nothing is said.")
@click.option("--tool", default="", help="The net or container that was used, by its own name.")
@click.option("--washed", is_flag=True, help="Hands were washed afterwards.")
@click.option("--away", is_flag=True, help="It leaves the house, whatever TO is like.")
@_AT
@_NOTE
@click.pass_obj
def move(
    bridge: Bridge,
    animal: str,
    to: str,
    system: str,
    count: str,
    tool: str,
    washed: bool,
    away: bool,
    at: str | None,
    note: str,
) -> None:
    """Log that ANIMAL went TO another system, one of its vessels, or somebody else.

    \b
    Examples:
      leadline livestock move fairy-wrasses great-reef --washed
      leadline livestock move chromis a-friend --count 2
    """
    from leadline.app import stock, stock_log, stock_warn
    from leadline.present.stock import hazard_said

    h = stock.house(bridge.store(), bridge.clock)
    for hazard in stock.cautions(h, h.lot(animal)):
        click.echo(click.style(f"▲ {hazard_said(hazard)}", fg="magenta"), err=True)
    against: list[str] = []
    done = stock_log.move(
        bridge.store(), bridge.clock, animal, to, system=system, count=count, note=note, time=at, tool=tool,
        washed=washed, away=away,
        last_word=lambda: against.extend(
            stock_warn.before_it_moves(bridge.store(), bridge.clock, animal, to, system)
        ),
    )  # fmt: skip
    _said(bridge, done, f"{done.entry.subject} went from {done.entry.system} to {to}.")
    if not bridge.json:
        _against(against)


@click.command(short_help="It died or left, with what an examination found.")
@click.argument("animal", required=False)
@_SYSTEM
@click.option("--how", default="died", show_default=True, help="died, missing, given-away, sold or killed.")
@click.option("--count", default="", help="How many of a group; all when nothing is said.")
@click.option("--exam", multiple=True, metavar="PART=FINDING", help="What was found: gills=pale, belly=hollow.")
@click.option("--examine", is_flag=True, help="Print what a keeper can look at, and log nothing.")
@_AT
@_NOTE
@click.pass_obj
def lose(
    bridge: Bridge, animal: str | None, system: str, how: str, count: str, exam: tuple[str, ...], examine: bool,
    at: str | None, note: str,
) -> None:  # fmt: skip
    """Log a loss.

    \b
    Examples:
      leadline livestock lose --examine
      leadline livestock lose chromis --count 1 --exam gills=pale --exam belly=hollow
      leadline livestock lose six-line --how missing
    """
    from leadline.app import stock, stock_log
    from leadline.present import stock as said

    if examine or not animal:
        if not examine:
            raise BadInput("a loss of whom?", way_out="Name the animal; --examine prints what to look at.")
        click.echo(said.EXAMINE_FIRST)
        for key, name, words in said.EXAMINATION:
            click.echo(f"  {key:<8} {name}: {words}")
        return
    h = stock.house(bridge.store(), bridge.clock)
    for hazard in stock.cautions(h, h.lot(animal)):
        click.echo(click.style(f"▲ {said.hazard_said(hazard)}", fg="magenta"), err=True)
    done = stock_log.lose(
        bridge.store(), bridge.clock, animal, system=system, how=how, count=count, note=note,
        exam=_pairs(exam, "--exam"), time=at,
    )  # fmt: skip
    _said(bridge, done, f"{done.entry.subject}: {done.entry.value:g} {how} in {done.entry.system}.")


@click.command(short_help="Some were seen, or the whole system was looked over.")
@click.argument("system")
@click.argument("animals", nargs=-1)
@click.option("--all", "everyone", is_flag=True, help="Everyone who lives here was seen.")
@click.option("--looked", is_flag=True, help="The whole system was looked over: whoever is not named was not seen.")
@click.option("--search", default="", metavar="HOW", help="How it was searched: lens, night, torch.")
@_AT
@_NOTE
@click.pass_obj
def seen(
    bridge: Bridge, system: str, animals: tuple[str, ...], everyone: bool, looked: bool, search: str, at: str | None,
    note: str,
) -> None:  # fmt: skip
    """Log who was seen in SYSTEM.

    \b
    Examples:
      leadline livestock seen north-room old-tang
      leadline livestock seen north-room --all
      leadline livestock seen quarantine --all --search "lens, at night"
      leadline livestock seen north-room old-tang percula-pair --looked
    """
    from leadline.app import stock, stock_log

    who = [x.id for x in stock.house(bridge.store(), bridge.clock).register.at(system)] if everyone else list(animals)
    done = stock_log.see(
        bridge.store(), bridge.clock, system, who, looked_over=looked or everyone or bool(search), search=search,
        note=note, time=at,
    )  # fmt: skip
    _said(bridge, done, f"Seen in {system}: {', '.join(who) or 'nobody'}.")


@click.command(short_help="A sign, a measure, eggs, a hatch.")
@click.argument("animal")
@click.argument("sign")
@click.argument("amount", nargs=-1)
@_SYSTEM
@_AT
@_NOTE
@click.pass_obj
def note(
    bridge: Bridge, animal: str, sign: str, amount: tuple[str, ...], system: str, at: str | None, note: str
) -> None:
    """Note a SIGN of ANIMAL: white-spots, measured 31 cm, eggs-laid, hatched.

    \b
    Examples:
      leadline livestock note old-tang white-spots --note "four, on the tail"
      leadline livestock note great-table measured 36 cm
      leadline livestock note percula-pair eggs-laid
    """
    from leadline.app import breeding, stock_log

    done = stock_log.note(
        bridge.store(), bridge.clock, animal, sign, system=system, value=amount[0] if amount else "",
        unit=" ".join(amount[1:]), note=note, time=at,
    )  # fmt: skip
    _said(bridge, done, f"Noted of {animal}: {sign}.")
    if not bridge.json and done.entry.subject == "eggs-laid":
        for line in breeding.said(bridge.store(), bridge.clock, animal):
            click.echo(line)


@click.command(short_help="Say more of an animal: sex, papers, price, that it can't be had again.")
@click.argument("animal")
@click.argument("about", nargs=-1, required=True, metavar="KEY=VALUE...")
@click.pass_obj
def tell(bridge: Bridge, animal: str, about: tuple[str, ...]) -> None:
    """Say more of ANIMAL; what stood before stays in the journal.

    \b
    Examples:
      leadline livestock tell old-tang irreplaceable=yes sex=female
      leadline livestock tell fairy-wrasses kind=cirrhilabrus
    """
    from leadline.app import stock_log

    made = stock_log.tell(bridge.store(), bridge.clock, animal, _pairs(about, ""))
    if bridge.json:
        emit({"schema": "leadline.entry/1", "id": made.id, "subject": made.subject, "extra": dict(made.extra)})
        return
    click.echo(f"Noted of {animal}: {', '.join(about)}.")


@click.command(short_help="A dip or a medicine, as it was done.")
@click.argument("system")
@click.argument("agent")
@click.option("--medicine", is_flag=True, help="A medicine in the water, not a dip.")
@click.option(
    "--animal", "animals", multiple=True, help="Who was treated, by id; say it again for more. All when none."
)
@click.option("--base", default="", help="removed, partly or no: the coral's plug or rock.")
@click.option("--minutes", default="", help="How long.")
@click.option("--concentration", default="", help="As it was, for your record.")
@click.option("--water", default="", help="Volume of the dip.")
@click.option("--found", default="", help="What came off: nothing, a pest by its id, or 'unknown pest'.")
@click.option("--fell-off", default="", help="How many, and how it looked.")
@click.option("--moved-out", is_flag=True, help="Those whom it harms were in other water.")
@click.option("--rinse", default="", help="Where the rinse water went.")
@_AT
@_NOTE
@click.pass_obj
def treat(
    bridge: Bridge, system: str, agent: str, medicine: bool, animals: tuple[str, ...], base: str, minutes: str,
    concentration: str, water: str, found: str, fell_off: str, moved_out: bool, rinse: str, at: str | None, note: str,
) -> None:  # fmt: skip
    """Log a dip or medicine with AGENT in SYSTEM. How much of it is a professional's word, never this tool's.

    \b
    Examples:
      leadline livestock treat quarantine iodine-dip --base removed --found nothing
      leadline livestock treat quarantine praziquantel --medicine --note "as the veterinarian wrote"
    """
    from leadline.app import quarantine, stock
    from leadline.present.stock import fact_said, label

    done = quarantine.treat(
        bridge.store(), bridge.clock, system, agent=agent, what="medicine" if medicine else "dip", animals=animals,
        base=base, minutes=minutes, concentration=concentration, water=water, found=found, fell_off=fell_off,
        moved_out=moved_out, rinse=rinse, note=note, time=at,
    )  # fmt: skip
    _said(bridge, done, f"Logged: {done.entry.subject} with {done.entry.extra['agent']} in {system}.")
    if bridge.json:
        return
    h = stock.house(bridge.store(), bridge.clock)
    known = h.catalogue.agent(agent)
    if known is None:
        click.echo("The catalogue does not know this agent: what it reaches is unknown.")
        return
    hits, misses = quarantine.against(h, known)
    click.echo(f"On record as reaching, wholly or in part: {', '.join(hits) or 'nothing'}; not: {', '.join(misses)}.")
    for f in known.cautions:
        click.echo(click.style(f"▲ {fact_said(f)} [{label(f.mark) or 'source'}]", fg="magenta"))


@click.command(short_help="Keep a photograph of an animal.")
@click.argument("animal")
@click.argument("file", type=click.Path(path_type=Path))
@_SYSTEM
@_NOTE
@click.pass_obj
def photo(bridge: Bridge, animal: str, file: Path, system: str, note: str) -> None:
    """Keep FILE (JPEG, PNG or WebP) as a photograph of ANIMAL, in the store itself.

    \b
    Example:
      leadline livestock photo great-table table.jpg --note "same light as last year"
    """
    from leadline.app import photographs, stock

    h = stock.house(bridge.store(), bridge.clock)
    lot = h.lot(animal)
    place = stock.where(h, lot, system) if lot.alive or system else (lot.stays[-1].place if lot.stays else "")
    try:
        content = file.read_bytes()
    except FileNotFoundError as exc:
        raise BadInput("there is no such file", where=str(file), way_out="Give the path of a picture.") from exc
    except OSError as exc:
        raise Unreachable(f"it cannot be read: {exc.strerror}", where=str(file)) from exc
    kept = photographs.keep(bridge.store(), bridge.clock, place, lot.id, content, note=note)
    if bridge.json:
        emit({"schema": "leadline.photograph/1", "id": kept.id, "animal": lot.id, "taken": kept.taken_at,
              "width": kept.width, "height": kept.height})  # fmt: skip
        return
    click.echo(f"Kept a photograph of {lot.id}, taken {kept.taken_at:%Y-%m-%d}.")
