"""`leadline log` and `leadline entry`: write one entry by hand; show, correct, withdraw or confirm one."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

from leadline.cli import attachments
from leadline.cli.amounts import Amounts
from leadline.cli.output import emit
from leadline.journal.entry import KINDS
from leadline.measures.errors import BadInput, UnknownName
from leadline.rounds.item import ACTIONS

if TYPE_CHECKING:
    from leadline.cli.main import Bridge
    from leadline.journal.entry import Entry

_MEASURED = ("reading", "addition", "exchange", "topoff", "feeding")


@click.command(cls=Amounts, short_help="Write one entry by hand.")
@click.argument("kind")
@click.argument("system")
@click.argument("subject", default="")
@click.argument("amount", nargs=-1)
@click.option("--at", metavar="TIME", help="When it happened, if not now: 2026-03-01T08:00 (local) or with offset.")
@click.option("--method", default="", help="How it was measured or given.")
@click.option("--sd", default="", metavar="SD", help="One standard deviation, in the unit of the value.")
@click.option("--to", default="", help="Where it went (transfer).")
@click.option("--from", "source", default="", help="Where it came from.")
@click.option("--note", default="", help="Free text.")
@click.option("--extra", default="", metavar="JSON", help='More, such as {"salinity": 35.0} of new water.')
@click.pass_obj
def log(
    bridge: Bridge, kind: str, system: str, subject: str, amount: tuple[str, ...], at: str | None, method: str,
    sd: str, to: str, source: str, note: str, extra: str,
) -> None:  # fmt: skip
    """Write one entry: KIND SYSTEM SUBJECT VALUE UNIT.

    KIND is reading, addition, exchange, topoff, feeding, arrival, transfer, loss, observation, treatment, service
    or note.

    \b
    Examples:
      leadline log reading north-room alkalinity 8.1 dKH
      leadline log reading north-room salinity 1.0264 sg@25/25 --method hydrometer
      leadline log addition north-room sodium-bicarbonate 12 g
      leadline log exchange north-room mixed-seawater 100 L --extra '{"salinity": 35.0}'
      leadline log service north-room heater-1 --method cleaned
      leadline log note north-room --note "lights an hour late today"
    """
    from leadline.app import record
    from leadline.app.answers import journal

    if kind not in KINDS:
        raise UnknownName("kind of entry", kind, KINDS)
    value, unit = "", ""
    if amount:
        value, unit = amount[0], " ".join(amount[1:])
        if not unit and kind in _MEASURED:
            from leadline.measures.units import split_value_unit

            number, unit = split_value_unit(value)
            value = repr(number)
    more: dict[str, Any] = {}
    if extra:
        try:
            more = json.loads(extra, parse_constant=_no_number)
        except ValueError as exc:
            raise BadInput(f"--extra is not JSON: {exc}", way_out='Write it like {"salinity": 35.0}.') from exc
        if not isinstance(more, dict):
            raise BadInput("--extra is no JSON object", way_out='Write it like {"salinity": 35.0}.')
    done = record.log(
        bridge.store(), bridge.clock, system=system, kind=kind, subject=subject, value_text=value, unit=unit,
        method=method, time=at, note=note, extra=more, sd_text=sd, to=to, source=source,
    )  # fmt: skip
    doubt = done.doubtful
    if bridge.json:
        emit(journal.logged(done))
        return
    click.echo(f"Logged {_words(done.entry)} ({done.entry.id}).")
    for line in done.assumed:
        click.echo(f"  assumed: {line}")
    if doubt is not None:
        from leadline.app import describe
        from leadline.measures.figures import figure

        shown = describe.load(bridge.store(), system).units
        expected = figure(doubt.expected, doubt.expected_sd, done.entry.subject, shown)
        what = f"it looks like {doubt.guess}" if doubt.kind == "slip" else "it does not fit; test again"
        click.echo(click.style(f"? {expected} was expected: {what}. It stands as typed.", fg="magenta"))
        click.echo(f"  right as typed: leadline entry confirm {done.entry.id}")
        click.echo(f"  a slip:         leadline entry correct {done.entry.id} VALUE UNIT")


def _no_number(name: str) -> float:
    raise ValueError(f"{name} is no number")


def _words(e: Entry) -> str:
    unit = "" if e.unit == "1" else e.unit
    amount = f" {e.value:g} {unit}".rstrip() if e.value is not None else ""
    return f"{e.kind} {e.subject}{amount}".strip()


@click.group(short_help="Show, correct, withdraw or confirm an entry; keep files with it.")
def entry() -> None:
    """Nothing is rewritten: a correction stands beside what it corrects.

    \b
    Examples:
      leadline entry show 5f1d3c9a8b7e6d21
      leadline entry correct 5f1d3c9a8b7e6d21 8.1 dKH
      leadline entry amend 5f1d3c9a8b7e6d21 --at 2026-03-01T08:00
      leadline entry withdraw 5f1d3c9a8b7e6d21
      leadline entry confirm 5f1d3c9a8b7e6d21
      leadline entry attach 5f1d3c9a8b7e6d21 report.pdf
    """


for _command in (attachments.show, attachments.attach, attachments.files, attachments.file, attachments.drop_file):
    entry.add_command(_command)


@entry.command(cls=Amounts)
@click.argument("ident", metavar="ID")
@click.argument("value")
@click.argument("unit", default="")
@click.pass_obj
def correct(bridge: Bridge, ident: str, value: str, unit: str) -> None:
    """Write what entry ID should have said.

    \b
    Example:
      leadline entry correct 5f1d3c9a8b7e6d21 8.1 dKH
    """
    from leadline.app import record

    _done(bridge, record.correct(bridge.store(), bridge.clock, ident, value, unit), "Corrected:")


@entry.command()
@click.argument("ident", metavar="ID")
@click.option("--at", "time", metavar="TIME", help="When it happened: 2026-03-01T08:00 (local) or with offset.")
@click.option("--system", help="The system it was of.")
@click.option("--subject", help="What it was: a quantity, a substance, a machine.")
@click.option("--method", help="How it was measured or given.")
@click.option("--note", help="Free text.")
@click.pass_obj
def amend(bridge: Bridge, /, ident: str, **other: str | None) -> None:
    """Write entry ID anew with another time, system or subject; the old one is taken back.

    \b
    Examples:
      leadline entry amend 5f1d3c9a8b7e6d21 --at 2026-03-01T08:00
      leadline entry amend 5f1d3c9a8b7e6d21 --system quarantine
    """
    from leadline.app import record

    changed = {k: v for k, v in other.items() if v is not None}
    if not changed:
        raise BadInput("nothing was said to be otherwise", way_out="Give --at, --system or --subject.")
    _done(bridge, record.amend(bridge.store(), bridge.clock, ident, **changed).entry, "Written anew:")


@entry.command()
@click.argument("ident", metavar="ID")
@click.pass_obj
def withdraw(bridge: Bridge, ident: str) -> None:
    """Take entry ID back; it stays in the journal as withdrawn.

    \b
    Example:
      leadline entry withdraw 5f1d3c9a8b7e6d21
    """
    from leadline.app import record

    _done(bridge, record.withdraw(bridge.store(), bridge.clock, ident), "Withdrawn:")


@entry.command()
@click.argument("ident", metavar="ID")
@click.pass_obj
def confirm(bridge: Bridge, ident: str) -> None:
    """Say that entry ID is right as typed; nobody asks again.

    \b
    Example:
      leadline entry confirm 5f1d3c9a8b7e6d21
    """
    from leadline.app import record

    _done(bridge, record.confirm(bridge.store(), bridge.clock, ident), "Confirmed:")


@entry.command()
@click.argument("system")
@click.argument("action", type=click.Choice(ACTIONS), metavar="ACTION")
@click.argument("subject")
@click.pass_obj
def done(bridge: Bridge, system: str, action: str, subject: str) -> None:
    """Say that an inspection or a service of the round was done: its clock starts again.

    ACTION and SUBJECT stand in the round, such as inspect chiller-1.

    \b
    Example:
      leadline entry done north-room inspect chiller-1
    """
    from leadline.app import record

    _done(bridge, record.done(bridge.store(), bridge.clock, system, action, subject), "Noted:")


def _done(bridge: Bridge, e: Entry, word: str) -> None:
    if bridge.json:
        from leadline.app.answers import journal

        emit(journal.entry(e))
        return
    click.echo(f"{word} {_words(e)} ({e.id}).")
