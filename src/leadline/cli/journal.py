"""`leadline journal`: read and search what was written, newest first, corrections beside what they correct."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from leadline.cli.output import emit
from leadline.journal.entry import KINDS
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import iso, parse, zone

if TYPE_CHECKING:
    from leadline.app.read_journal import Written
    from leadline.cli.main import Bridge


@click.command(short_help="Read and search what was written.")
@click.argument("words", nargs=-1)
@click.option("--system", default="", help="Of this system alone.")
@click.option("--kind", default="", help="Of this kind alone: reading, exchange, service and so on.")
@click.option("--before", default="", metavar="TIME", help="What was before that.")
@click.option("--most", type=int, default=30, show_default=True, help="So many entries.")
@click.option("--csv", "as_csv", is_flag=True, help="All that is found, as a journal that imports back.")
@click.pass_obj
def journal(
    bridge: Bridge, words: tuple[str, ...], system: str, kind: str, before: str, most: int, as_csv: bool
) -> None:  # fmt: skip
    """List entries that hold all WORDS, the newest first.

    \b
    Examples:
      leadline journal
      leadline journal skimmer cleaned --system north-room
      leadline journal --kind exchange --most 5 --json
      leadline journal --kind service --csv > services.csv
    """
    from leadline.app import describe, read_journal
    from leadline.app.answers import journal as answers

    store = bridge.store()
    systems = store.systems()
    if system and system not in systems:
        raise UnknownName("system", system, systems)
    if kind and kind not in KINDS:
        raise UnknownName("kind of entry", kind, KINDS)
    if most < 1:
        raise BadInput(f"{most} entries", way_out="Ask for one or more.")
    zones = {s: zone(describe.load(store, s).time_zone) for s in systems}
    first = zones.get(system) or next(iter(zones.values()), zone("UTC"))
    if as_csv:
        import sys

        from leadline.formats.export import write_journal

        if before:
            raise BadInput("--csv is of all that is found", way_out="Leave --before out.")
        now = bridge.as_of(system or None) or bridge.clock.now()
        rows = read_journal.with_corrections(store, now, system=system, kind=kind, words=" ".join(words))
        write_journal(rows, sys.stdout)
        return
    found = read_journal.entries(
        store, bridge.as_of(system or None) or bridge.clock.now(), system=system, kind=kind, words=" ".join(words),
        before=parse(before, first) if before else None, most=most,
    )  # fmt: skip
    if bridge.json:
        for w in found.entries:
            emit(answers.line(w))
        return
    if not found.entries:
        click.echo("Nothing like it was written." if words or kind or system or before else "Nothing is written yet.")
        return
    for w in found.entries:
        click.echo(_line(w, f"{w.entry.time.astimezone(zones.get(w.entry.system, first)):%Y-%m-%d %H:%M}"))
    if found.more is not None:
        click.echo(click.style(f"And more: --before {iso(found.more)}", dim=True))


def _line(w: Written, when: str) -> str:
    e = w.entry
    amount = f"{e.value:g} {'' if e.unit == '1' else e.unit}".strip() if e.value is not None else ""
    who = e.extra.get("animal", "")
    more = [who if isinstance(who, str) else "", e.method, f"to {e.to}" if e.to else "",
            f"from {e.source}" if e.source else "", e.note]  # fmt: skip
    head = " ".join(x for x in (e.kind, e.subject, amount) if x)
    state = ""
    if w.state == "corrected" and w.instead is not None and w.instead.value is not None:
        state = f"  [corrected: {w.instead.value:g} {w.instead.unit}]"
    elif w.state != "stands":
        state = f"  [{'taken back' if w.state == 'withdrawn' else 'corrected'}]"
    said = ", ".join(x for x in more if x)
    return f"{when}  {e.system}  {head}{state}{f'  {said}' if said else ''}  ({e.id})"
