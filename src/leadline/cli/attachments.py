"""`leadline entry show`, `attach`, `files`, `file`, `drop-file`: one entry whole, and the files kept with it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from leadline.cli.output import emit, whole_file
from leadline.measures.errors import BadInput, Unreachable
from leadline.measures.moments import iso

if TYPE_CHECKING:
    from leadline.app.ports import Attachment
    from leadline.cli.main import Bridge


def _line(a: Attachment) -> str:
    from leadline.present import files as said

    note = f"  {a.note}" if a.note else ""
    return f"{a.id}  {a.name}  {said.kind(a.media_type)}, {said.size(a.size)}  {a.added_at:%Y-%m-%d}{note}"


@click.command(short_help="One entry whole, with its corrections and files.")
@click.argument("ident", metavar="ID")
@click.pass_obj
def show(bridge: Bridge, ident: str) -> None:
    """Show entry ID: as typed and as stored, what it corrects or was corrected by, its files.

    \b
    Example:
      leadline entry show 5f1d3c9a8b7e6d21
    """
    from leadline.app import read_journal
    from leadline.app.answers import journal as answers

    store = bridge.store()
    now = bridge.as_of() or bridge.clock.now()
    found = read_journal.whole(store, now, ident)
    kept = [a for a in store.attachments(x.id for x in found.line) if a.added_at <= now]
    e = found.entry
    if bridge.json:
        emit(answers.whole(found, kept))
        return
    amount = f" {e.value:g} {e.unit}".rstrip() if e.value is not None else ""
    state = {"withdrawn": "taken back", "corrected": "corrected"}.get(found.state, "")
    click.echo(f"{iso(e.time)}  {e.system}  {e.kind} {e.subject}{amount}{f'  [{state}]' if state else ''}")
    if e.stored is not None:
        click.echo(f"  stored: {e.stored:.6g}")
    for label, value in (("method", e.method), ("to", e.to), ("from", e.source), ("note", e.note)):
        if value:
            click.echo(f"  {label}: {value}")
    for key, value in e.extra.items():
        click.echo(f"  {key}: {value}")
    for other in found.line:
        if other.id != e.id:
            counts = "  this one counts" if found.stands is not None and found.stands.id == other.id else ""
            did = (
                "taken back" if other.withdrawn else f"{other.value:g} {other.unit}" if other.value is not None else ""
            )
            click.echo(f"  also {other.id}: {did}{counts}")
    for a in kept:
        click.echo(f"  {_line(a)}")


@click.command(short_help="Keep a photograph or a report with an entry.")
@click.argument("ident", metavar="ID")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--note", default="", help="What it shows.")
@click.pass_obj
def attach(bridge: Bridge, ident: str, file: Path, note: str) -> None:
    """Keep FILE with entry ID, in the store itself: JPEG, PNG, WebP, PDF, CSV, XLSX or plain text, at most 20 MB.

    \b
    Example:
      leadline entry attach 5f1d3c9a8b7e6d21 report.pdf --note "the laboratory's own sheet"
    """
    from leadline.app import attachments
    from leadline.app.answers import journal as answers

    try:
        if file.stat().st_size > attachments.MOST_BYTES:
            raise attachments.too_large(file.name, file.stat().st_size)
        content = file.read_bytes()
    except FileNotFoundError as exc:
        raise BadInput("there is no such file", where=str(file), way_out="Check the path.") from exc
    except IsADirectoryError as exc:
        raise BadInput("this is a folder", where=str(file), way_out="Name one file in it.") from exc
    except OSError as exc:
        raise Unreachable(f"it cannot be read: {exc.strerror}", where=str(file)) from exc
    kept = attachments.keep(bridge.store(), bridge.clock, ident, file.name, content, note)
    if bridge.json:
        emit({"schema": "leadline.file/1", **answers.file(kept)})
        return
    click.echo(f"Kept {kept.name} ({kept.id}).")


@click.command(short_help="The files of an entry.")
@click.argument("ident", metavar="ID")
@click.pass_obj
def files(bridge: Bridge, ident: str) -> None:
    """List the files that are kept with entry ID: id, name, what it is, size, day, note.

    \b
    Example:
      leadline entry files 5f1d3c9a8b7e6d21
    """
    from leadline.app import attachments, read_journal

    store = bridge.store()
    now = bridge.as_of() or bridge.clock.now()
    read_journal.whole(store, now, ident)
    kept = [a for a in attachments.of(store, ident) if a.added_at <= now]
    if bridge.json:
        from leadline.app.answers import journal as answers

        emit({"schema": "leadline.files/1", "entry": ident, "files": list(map(answers.file, kept))})
        return
    for a in kept:
        click.echo(_line(a))
    if not kept:
        click.echo("No file is kept with it.")


@click.command(short_help="Write a file of an entry out.")
@click.argument("ident", metavar="ID")
@click.argument("fileid", metavar="FILEID")
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE", help="Write it there instead of to the terminal."
)
@click.pass_obj
def file(bridge: Bridge, ident: str, fileid: str, out: Path | None) -> None:
    """Write the bytes of file FILEID of entry ID to standard output, or to --out.

    \b
    Examples:
      leadline entry file 5f1d3c9a8b7e6d21 0c9a8b7e6d215f1d > report.pdf
      leadline entry file 5f1d3c9a8b7e6d21 0c9a8b7e6d215f1d --out report.pdf
    """
    from leadline.app import attachments

    kept, content = attachments.content(bridge.store(), ident, fileid)
    if out is None or str(out) == "-":
        if sys.stdout.isatty() and not kept.media_type.startswith("text/"):
            raise BadInput(f"{kept.name} is no text", way_out=f"Write it to a file: --out '{kept.name}'.")
        click.echo(content, nl=False)
        return
    with whole_file(out) as written:
        written.write(content)
    click.echo(f"Wrote {out}.", err=True)


@click.command("drop-file", short_help="Remove a file from an entry, for good.")
@click.argument("ident", metavar="ID")
@click.argument("fileid", metavar="FILEID")
@click.pass_obj
def drop_file(bridge: Bridge, ident: str, fileid: str) -> None:
    """Remove file FILEID from entry ID, for good; the entry stays as it is.

    \b
    Example:
      leadline entry drop-file 5f1d3c9a8b7e6d21 0c9a8b7e6d215f1d
    """
    from leadline.app import attachments
    from leadline.app.answers import journal as answers

    gone = attachments.drop(bridge.store(), ident, fileid)
    if bridge.json:
        emit({"schema": "leadline.file/1", **answers.file(gone), "dropped": True})
        return
    click.echo(f"Removed {gone.name}.")
