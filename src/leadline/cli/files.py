"""Files in and out: import, export, backup, restore, and the rows parked for the keeper to judge."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from leadline.cli.importing import Tools, desk_of, import_, say
from leadline.cli.output import whole_file
from leadline.measures.errors import UnknownName

if TYPE_CHECKING:
    from typing import TextIO

    from leadline.app.ports import Contents, Store

END_OF_TIME_S = 253_402_300_799.0  # the last second of 9999


@click.command(short_help="Write the journal or the streams as the contract's CSV.")
@click.option("--system", default="", metavar="ID", help="Only this system.")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE", help="Write to FILE instead of the terminal.")
@click.option("--streams", is_flag=True, help="Write stream points instead of the journal.")
@click.pass_obj
def export(tools: Tools, /, system: str, out: Path | None, streams: bool) -> None:
    """Write the journal as CSV, with every column and each row's id; importing it gives the same journal back.

    \b
    Examples:
      leadline export > journal.csv
      leadline export --system north-room --out north-room.csv
      leadline export --streams --out streams.csv
    """
    store = tools.store()
    if system and system not in store.systems():
        raise UnknownName("system", system, store.systems())
    if out is None or str(out) == "-":
        _export(store, system, streams, sys.stdout)
        return
    with whole_file(out) as file:
        words = io.TextIOWrapper(file, encoding="utf-8", newline="")
        n = _export(store, system, streams, words)
        words.detach()
    what = "points" if streams else "rows"
    if tools.json:
        click.echo(json.dumps({"schema": "leadline.export/1", "file": str(out), what: n}))
    else:
        click.echo(f"Wrote {n} {what} to {out}.")


def _export(store: Store, system: str, streams: bool, file: TextIO) -> int:
    from leadline.formats import export

    if not streams:
        entries = store.entries(system or None)
        return export.write_journal(sorted(entries, key=lambda e: e.time), file)
    n = 0
    export.write_stream_header(file)
    for owner, stream in store.streams(system or None):
        n += export.write_points(owner, stream, store.points(owner, stream, 0.0, END_OF_TIME_S), file)
    return n


@click.command(short_help="Copy the store, safely while it is in use.")
@click.argument("target", type=click.Path(path_type=Path))
@click.pass_obj
def backup(tools: Tools, /, target: Path) -> None:
    """Copy the whole store to TARGET. The copy is consistent even while the store is in use, and is read back
    before it takes its name.

    \b
    Examples:
      leadline backup leadline-2026-03-01.db
      leadline backup /mnt/stick/leadline.db
    """
    if target.is_dir():
        target = target / f"leadline-{tools.clock.now():%Y-%m-%d}.db"
    from leadline.app import safeguard

    contents = safeguard.backup(tools.store(), str(target), tools.clock)
    _tell(tools, "leadline.backup/1", "Backed up", target, contents)


@click.command(short_help="Replace the store by a backup, once the backup is proved good.")
@click.argument("source", type=click.Path(path_type=Path))
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.pass_obj
def restore(tools: Any, /, source: Path, yes: bool) -> None:
    """Replace the store by the backup SOURCE. The backup is opened and read in full first; what stood in its
    place before is kept beside it.

    \b
    Examples:
      leadline restore leadline-2026-03-01.db
      leadline --db /data/leadline.db restore leadline-2026-03-01.db --yes
    """
    from leadline.app import safeguard
    from leadline.store.restore import restore as restorer

    path = Path(tools.path)
    if not yes and path.exists() and sys.stdin.isatty():
        click.confirm(f"Replace {path} by {source}? What is there now is kept beside it.", abort=True)
    contents = safeguard.restore(restorer, str(source), str(path), tools.clock)
    _tell(tools, "leadline.restore/1", "Restored", path, contents)


def _tell(tools: Tools, schema: str, done: str, path: Path, contents: Contents) -> None:
    facts = {k: getattr(contents, k) for k in ("systems", "entries", "points", "files")}
    if tools.json:
        click.echo(json.dumps({"schema": schema, "file": str(path), **facts, "set_aside": contents.set_aside}))
        return
    said = ", ".join(f"{n} {name}" for name, n in facts.items())
    click.echo(f"{done} {path}: {said}, read back and found whole.")
    if contents.set_aside:
        click.echo(f"What stood there before is kept as {contents.set_aside}.")


@click.group(invoke_without_command=True, short_help="Rows with an impossible time, for you to judge.")
@click.pass_context
def parked(context: click.Context) -> None:
    """List rows that an import parked because their time can't be right (before 1971, or in the future).

    \b
    Examples:
      leadline parked
      leadline parked keep 3 --time 2026-01-05T08:00
      leadline parked drop 4 5
    """
    if context.invoked_subcommand is not None:
        return
    tools: Tools = context.obj
    rows = tools.store().parked()
    if tools.json:
        listed = [
            {"id": p.id, "file": p.file, "line": p.line, "reason": p.reason, "row": dict(p.row)} for p in rows
        ]  # fmt: skip
        click.echo(json.dumps({"schema": "leadline.parked/1", "rows": listed}, ensure_ascii=False))
        return
    if not rows:
        click.echo("Nothing is parked.")
    for p in rows:
        click.echo(f"{p.id}  {p.file}:{p.line}  {p.reason}  {_in_words(p.row)}")


def _in_words(row: Mapping[str, str]) -> str:
    shown = ("system", "kind", "stream", "subject", "value", "unit", "note")
    return " ".join(str(row[name]) for name in shown if row.get(name))


@parked.command(short_help="Keep a row after all.")
@click.argument("id", type=int)
@click.option("--time", metavar="TIME", help="The right time, ISO 8601; without it the row's own is kept.")
@click.pass_obj
def keep(tools: Tools, /, id: int, time: str | None) -> None:
    """Keep row ID after all, with its right time if you know it.

    \b
    Examples:
      leadline parked keep 3 --time 2026-01-05T08:00
      leadline parked keep 3
    """
    from leadline.app import bring_in
    from leadline.formats.opening import parked_row

    store = tools.store()
    desk = desk_of(tools, store)

    bring_in.release(store, id, parked_row(desk), at=tools.clock.now(), time=time)
    say(f"Row {id} is kept.") if not tools.json else click.echo(json.dumps({"schema": "leadline.parked/1", "kept": id}))


@parked.command(short_help="Strike rows from the list.")
@click.argument("ids", type=int, nargs=-1, required=True)
@click.pass_obj
def drop(tools: Tools, /, ids: tuple[int, ...]) -> None:
    """Strike rows IDS from the list; what they said stays in the store's records, and they are not parked again.

    \b
    Examples:
      leadline parked drop 4
      leadline parked drop 4 5 6
    """
    from leadline.app import bring_in

    for id in ids:
        bring_in.drop(tools.store(), id, tools.clock.now())
    if tools.json:
        click.echo(json.dumps({"schema": "leadline.parked/1", "dropped": list(ids)}))
    else:
        say(f"{len(ids)} struck from the list.")


COMMANDS = (import_, export, backup, restore, parked)
