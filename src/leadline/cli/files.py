"""Files in and out: import, export, backup, restore, and the rows parked for the keeper to judge."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import click

from leadline.measures.errors import BadInput, LeadlineError

if TYPE_CHECKING:
    from leadline.app.bring_in import Brought, FileRead
    from leadline.app.ports import Store
    from leadline.measures.moments import Clock

SHOWN = 20  # problems printed; the rest is counted
MANY_BYTES = 250_000  # about 5,000 rows: from here on a progress bar is drawn


class Tools(Protocol):
    """What the root command hands to every command (`leadline.wiring`)."""

    json: bool
    clock: Clock

    def store(self) -> Store: ...


def _say(line: str) -> None:
    click.echo(line, err=True)


def _pairs(_: click.Context, option: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    pairs = {}
    for pair in given:
        left, sign, right = pair.partition("=")
        if not sign or not left.strip() or not right.strip():
            raise click.BadParameter(f"{pair!r} is not of the form NAME=VALUE", param=option)
        pairs[left.strip()] = right.strip()
    return pairs


@contextmanager
def _progress(path: Path, json_out: bool) -> Iterator[Callable[[int], None] | None]:
    try:
        size = path.stat().st_size
    except OSError:
        size = 0
    if json_out or size < MANY_BYTES or not sys.stderr.isatty():
        yield None
        return
    with click.progressbar(length=max(size // 60, 1), label=f"Reading {path.name}", file=sys.stderr) as bar:
        yield lambda rows: bar.update(max(rows - bar.pos, 0))


@click.command("import", short_help="Bring in journal, stream and spreadsheet files.")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--system", default="", metavar="ID", help="The system, for files that do not name it.")
@click.option("--skip-bad", is_flag=True, help="Import the good rows; write the others to FILE.rejected.csv.")
@click.option("--dry-run", is_flag=True, help="Check everything, keep nothing.")
@click.option("--adopt", is_flag=True, help="Take subjects that nobody knows yet as known from now on.")
@click.option("--encoding", metavar="NAME", help="Encoding of text that is not UTF-8, such as cp1252.")
@click.pass_obj
def import_(tools: Tools, /, files: tuple[Path, ...], **given: Any) -> None:
    """Bring in FILES: journal CSV, stream CSV, or a wide spreadsheet (CSV or XLSX).

    What a file is, is told by its header. If any row of any file can't be used, nothing is imported and every
    such row is named (exit status 2); with --skip-bad the rest is imported. Importing a file twice adds nothing
    the second time. Rows dated in the future or before 1971 are parked: see `leadline parked`.

    \b
    Examples:
      leadline import journal.csv
      leadline import journal.csv probe-2026.csv
      leadline import --skip-bad old-journal.csv
    """
    from leadline.app import bring_in

    store = tools.store()
    reads = _read_all(tools, store, files, given)
    brought = bring_in.bring_in(
        store, reads, skip_bad=given["skip_bad"], dry_run=given["dry_run"], known=_desk(tools, store).known
    )
    written = _write_rejected(reads, brought) if given["skip_bad"] and not given["dry_run"] else []
    adopted = 0
    if given["adopt"] and not brought.refused:
        adopted = bring_in.adopt(store, brought.unknown_subjects, tools.clock.now())
    if tools.json:
        click.echo(json.dumps(_as_json(brought, reads, written, adopted, given["dry_run"]), ensure_ascii=False))
    else:
        _report(brought, reads, written, adopted, given["dry_run"])
    if brought.rejected and not given["skip_bad"]:
        sys.exit(2)


def _desk(tools: Tools, store: Store) -> Any:
    from leadline.app import bring_in
    from leadline.formats import subjects
    from leadline.formats.opening import Desk

    known = subjects.known_with(bring_in.declared(store))
    return Desk(bring_in.zone_of(store), tools.clock.now(), known)


def _read_all(tools: Tools, store: Store, files: tuple[Path, ...], given: dict[str, Any]) -> list[FileRead]:
    from leadline.formats import opening

    desk = _desk(tools, store)
    options = opening.Options(system=given["system"], encoding=given["encoding"])
    reads = []
    for path in dict.fromkeys(files):
        with _progress(path, tools.json) as progress:
            reads.append(opening.read(path, desk, options, progress))
    return reads


def _write_rejected(reads: list[FileRead], brought: Brought) -> list[str]:
    from leadline.formats.journal_csv import rejected_csv

    written = []
    for read in reads:
        mine = [p for p in brought.rejected if p.file == read.file and p.fields]
        if not mine:
            continue
        target = Path(f"{read.file}.rejected.csv")
        text = rejected_csv(mine, read.columns)
        try:
            if target.exists() and target.read_text("utf-8") != text:
                target.replace(f"{target}.before")  # it may hold corrections that were not imported yet
            target.write_text(text, "utf-8", newline="")
        except OSError as exc:
            raise LeadlineError(f"cannot write the rejected rows ({exc.strerror})", where=str(target)) from exc
        written.append(str(target))
    return written


def _as_json(
    brought: Brought, reads: list[FileRead], written: list[str], adopted: int, dry_run: bool
) -> dict[str, Any]:
    return {
        "schema": "leadline.import/1",
        "files": [{"file": r.file, "format": r.format, "rows": r.rows} for r in reads],
        "imported": not brought.refused and not dry_run,
        "new": brought.new,
        "already_there": brought.already_there,
        "points_new": brought.points_new,
        "points_already_there": brought.points_already_there,
        "parked": brought.parked,
        "rejected": [
            {"file": p.file, "line": p.line, "column": p.column, "value": p.value, "reason": p.reason}
            for p in brought.rejected
        ],
        "rejected_files": written,
        "unknown_subjects": [
            {"kind": u.kind, "subject": u.subject, "rows": u.rows, "near": list(u.near)}
            for u in brought.unknown_subjects
        ],
        "adopted": adopted,
        "warnings": list(brought.warnings),
    }


def _report(brought: Brought, reads: list[FileRead], written: list[str], adopted: int, dry_run: bool) -> None:
    for problem in brought.rejected[:SHOWN]:
        _say(problem.text())
    if len(brought.rejected) > SHOWN:
        _say(f"… and {len(brought.rejected) - SHOWN} more rows that can't be used")
    for warning in brought.warnings:
        _say(f"Note: {warning}")
    for u in brought.unknown_subjects:
        near = f" Did you mean {' or '.join(u.near)}?" if u.near else ""
        fate = "taken as known from now on" if adopted else "kept; import again with --adopt to take it as known"
        if brought.refused:
            fate = "would be kept"
        _say(f"Note: {_rows(u.rows)} with {u.kind} {u.subject!r}, which nobody knows: {fate}.{near}")
    if brought.refused:
        n = len(brought.rejected)
        _say(
            f"Nothing was imported: {_rows(n)} can't be used. Mend {'it' if n == 1 else 'them'}, "
            "or add --skip-bad to import the rest."
        )
        return
    if dry_run:
        rows = sum(len(r.entries) for r in reads)
        points = sum(len(part.times_s) for r in reads for part in r.streams)
        parked = sum(len(r.parked) for r in reads)
        click.echo(
            f"Checked: {_rows(rows)} and {points} points can be used, {parked} would be parked. Nothing was kept."
        )
        return
    said = []
    if any(r.format != "stream" for r in reads):
        said.append(f"{brought.new} new, {brought.already_there} already there")
    if any(r.format == "stream" for r in reads):
        said.append(f"{brought.points_new} new points, {brought.points_already_there} already there")
    click.echo(f"Imported: {'; '.join(said)}.")
    if brought.parked:
        _say(f"{_rows(brought.parked)} with an impossible time parked. Judge them with `leadline parked`.")
    for path in written:
        _say(f"Rejected rows are in {path}; mend and import that file.")


def _rows(n: int) -> str:
    return "1 row" if n == 1 else f"{n} rows"


__all__ = ["BadInput", "Tools", "import_"]
