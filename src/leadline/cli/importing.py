"""`leadline import`: files in, questions asked, bad rows named."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import click

from leadline.measures.errors import LeadlineError

if TYPE_CHECKING:
    from leadline.app.bring_in import Brought, FileRead, Question
    from leadline.app.ports import Store
    from leadline.formats.opening import Desk, Options
    from leadline.measures.moments import Clock

SHOWN = 20  # problems printed; the rest is counted
MANY_BYTES = 250_000  # about 5,000 rows: from here on a progress bar is drawn
BYTES_A_ROW = 60


class Tools(Protocol):
    """What the root command hands to every command (`leadline.wiring`)."""

    @property
    def json(self) -> bool: ...

    @property
    def clock(self) -> Clock: ...

    def store(self) -> Store: ...


def say(line: str) -> None:
    """One line for the person, on stderr."""
    click.echo(line, err=True)


def _pairs(_: click.Context, option: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    pairs = {}
    for pair in given:
        left, sign, right = pair.rpartition("=") if option.name == "columns" else pair.partition("=")
        if not sign or not left.strip() or not right.strip():
            raise click.BadParameter(f"{pair!r} is not of the form NAME=VALUE", param=option)
        pairs[left.strip()] = right.strip()
    return pairs


@click.command("import", short_help="Bring in journal, stream and spreadsheet files.")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--system", default="", metavar="ID", help="The system, for files that do not name it.")
@click.option("--skip-bad", is_flag=True, help="Import the good rows; write the others to FILE.rejected.csv.")
@click.option("--dry-run", is_flag=True, help="Check everything, keep nothing.")
@click.option("--adopt", is_flag=True, help="Take subjects that nobody knows yet as known from now on.")
@click.option("--encoding", metavar="NAME", help="Encoding of text that is not UTF-8, such as cp1252.")
@click.option("--unit", "units", multiple=True, callback=_pairs, metavar="NAME=UNIT",
              help="Unit of a spreadsheet's quantity or column: --unit alkalinity=dKH")  # fmt: skip
@click.option("--column", "columns", multiple=True, callback=_pairs, metavar="HEADING=WHAT",
              help="What a spreadsheet's column is: a quantity, KIND:SUBJECT, date, time, note or ignore.")  # fmt: skip
@click.option("--dates", type=click.Choice(["day-first", "month-first", "iso"]), help="How dates like 3/4/2026 read.")
@click.option("--decimal", type=click.Choice([".", ","]), help="The decimal sign of a spreadsheet.")
@click.option("--time-of-day", default="", metavar="HH:MM", help="For rows with a date alone; noon when not given.")
@click.option("--sheet", default="", metavar="NAME", help="The sheet of a workbook.")
@click.option("--mapping", default="", metavar="NAME", help="Read a spreadsheet as saved before.")
@click.option("--save-mapping", default="", metavar="NAME", help="Save how this spreadsheet was read.")
@click.option("--show-mapping", is_flag=True, help="Show what each column would become; keep nothing.")
@click.pass_obj
def import_(tools: Tools, /, files: tuple[Path, ...], **given: Any) -> None:
    """Bring in FILES: journal CSV, stream CSV, or a spreadsheet with one row a date (CSV or XLSX).

    What a file is, is told by its header. If any row of any file can't be used, nothing is imported and every
    such row is named (exit status 2); with --skip-bad the rest is imported. Importing a file twice adds nothing
    the second time; of two equal rows one is kept. Rows dated more than an hour in the future, or before 1971,
    are parked: see `leadline parked`.

    A spreadsheet is read by its headings, such as "Alk (dKH)" or "Ca mg/l". Dates that could be read two ways,
    and units that are not stated, are asked about and never guessed.

    \b
    Examples:
      leadline import journal.csv
      leadline import journal.csv probe-2026.csv
      leadline import --skip-bad old-journal.csv
      leadline import --show-mapping tests.xlsx
      leadline import tests.xlsx --system north-room --unit alkalinity=dKH --dates day-first --save-mapping tests
      leadline import tests.xlsx --mapping tests
    """
    from leadline.app import bring_in

    store = tools.store()
    desk = desk_of(tools, store)
    options = _options(store, given)
    reads = [_read(path, desk, options, tools.json) for path in dict.fromkeys(files)]
    if given["show_mapping"]:
        _show_mapping(reads, tools.json)
        return
    skip_bad, dry_run = given["skip_bad"], given["dry_run"]
    brought = bring_in.bring_in(store, reads, skip_bad=skip_bad, dry_run=dry_run, known=desk.known)
    written = _write_rejected(reads, brought) if skip_bad and not dry_run else []
    adopted = 0
    if given["adopt"] and not brought.refused and not dry_run:
        adopted = bring_in.adopt(store, brought.unknown_subjects, tools.clock.now())
    if given["save_mapping"] and not brought.refused and not dry_run:
        _save_mapping(store, given["save_mapping"], reads, options)
    if tools.json:
        click.echo(json.dumps(_as_json(brought, reads, written, adopted, dry_run), ensure_ascii=False))
    else:
        _report(brought, reads, written, adopted, dry_run)
        if brought.new and not dry_run:
            _ask_about_slips(tools, store, brought)
    if brought.rejected and not skip_bad:
        click.get_current_context().exit(2)


def desk_of(tools: Tools, store: Store) -> Desk:
    """What reading files needs to know of this store."""
    from leadline.formats.opening import desk_for

    return desk_for(store, tools.clock)


def _options(store: Store, given: Mapping[str, Any]) -> Options:
    from leadline.app import bring_in
    from leadline.formats.opening import Options

    saved = bring_in.mapping(store, given["mapping"]) if given["mapping"] else {}
    options = Options(saved=bool(saved), encoding=given["encoding"], encoding_before=saved.get("encoding") or "")
    for name in ("system", "sheet", "dates", "decimal", "time_of_day"):
        setattr(options, name, given[name] or saved.get(name) or getattr(options, name))
    options.units = {**saved.get("units", {}), **given["units"]}
    options.columns = {**saved.get("columns", {}), **given["columns"]}
    return options


def _read(path: Path, desk: Desk, options: Options, json_out: bool) -> FileRead:
    """Read one file; what must be asked is asked when somebody sits there to answer."""
    from leadline.app.bring_in import Question
    from leadline.formats import opening

    while True:
        try:
            with _progress(path, json_out) as progress:
                return opening.read(path, desk, options, progress)
        except Question as question:
            if json_out or not sys.stdin.isatty():
                raise
            for part in question.parts:
                _ask(part, options)


def _ask(question: Question, options: Options) -> None:
    say(f"{question.where}: {question.what}.")
    if isinstance(question.choices, Mapping):
        answers = {name: click.prompt(f"Unit of {name}", default=unit) for name, unit in question.choices.items()}
        options.units = {**options.units, **answers}
    elif question.choices:
        setattr(options, question.option, click.prompt("Which", type=click.Choice(list(question.choices))))
    else:
        raise question


@contextmanager
def _progress(path: Path, json_out: bool) -> Iterator[Callable[[int], None] | None]:
    try:
        size = path.stat().st_size
    except OSError:
        size = 0
    if json_out or size < MANY_BYTES or not sys.stderr.isatty():
        yield None
        return
    with click.progressbar(length=size // BYTES_A_ROW, label=f"Reading {path.name}", file=sys.stderr) as bar:
        yield lambda rows: bar.update(max(min(rows, size // BYTES_A_ROW) - bar.pos, 0))


def _write_rejected(reads: Sequence[FileRead], brought: Brought) -> list[str]:
    from leadline.formats.export import rejected

    written = []
    for read in reads:
        mine = [p for p in brought.rejected if p.file == read.file and p.fields]
        if not mine:
            continue
        target = Path(f"{read.file}.rejected.csv")
        content = rejected(read, mine)
        try:
            if target.exists() and target.read_bytes() != content.encode():
                target.replace(f"{target}.before")  # it may hold corrections that were not imported yet
            target.write_text(content, "utf-8", newline="")
        except OSError as exc:
            way_out = "The good rows are imported; make room and run it again to get the others."
            raise LeadlineError(
                f"the rejected rows can't be written ({exc.strerror})", where=str(target), way_out=way_out
            ) from exc
        written.append(str(target))
    return written


def _save_mapping(store: Store, name: str, reads: Sequence[FileRead], options: Options) -> None:
    from leadline.app import bring_in

    read = next((r for r in reads if r.format == "wide"), None)
    if read is None:
        raise LeadlineError("no spreadsheet was read, so there is no mapping to save", where="--save-mapping")
    extra = {"sheet": options.sheet, "encoding": options.encoding or options.encoding_before}
    bring_in.save_mapping(store, name, {**read.mapping, **extra})
    say(f"Mapping {name!r} saved. Next time: leadline import FILE --mapping {name}")


def _show_mapping(reads: Sequence[FileRead], json_out: bool) -> None:
    if json_out:
        files = [{"file": r.file, "format": r.format, "columns": r.preview, "mapping": r.mapping} for r in reads]
        click.echo(json.dumps({"schema": "leadline.mapping/1", "files": files}, ensure_ascii=False))
        return
    for read in reads:
        click.echo(f"{read.file}: {read.format}")
        rows = [("column", "becomes", "unit", "first value")]
        rows += [(p["column"] or "(no heading)", p["becomes"], p["unit"] or "", p["first"][:30]) for p in read.preview]
        if len(rows) > 1:
            wide = [max(len(row[i]) for row in rows) for i in range(4)]
            for row in rows:
                click.echo("  " + "  ".join(c.ljust(w) for c, w in zip(row, wide, strict=True)).rstrip())
        for name, said in (("dates", read.mapping.get("dates")), ("decimal", read.mapping.get("decimal"))):
            if said:
                click.echo(f"  {name}: {said}")


def _as_json(
    brought: Brought, reads: Sequence[FileRead], written: list[str], adopted: int, dry_run: bool
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


def _report(brought: Brought, reads: Sequence[FileRead], written: list[str], adopted: int, dry_run: bool) -> None:
    from leadline.app.bring_in import alike

    kinds = alike(brought.rejected)
    for first, *more in kinds[:SHOWN]:
        rows = [str(p.line) for p in more[:6]]
        rest = f" and {len(more) - 6} more" if len(more) > 6 else ""
        say(first.text() + (f" The same in {', '.join(rows)}{rest}." if rows else ""))
    if len(kinds) > SHOWN:
        say(f"… and {sum(len(k) for k in kinds[SHOWN:])} more places")
    for warning in brought.warnings:
        say(f"Note: {warning}")
    for u in brought.unknown_subjects:
        near = f" Did you mean {' or '.join(u.near)}?" if u.near else ""
        fate = "kept; import again with --adopt to take it as known"
        if adopted:
            fate = "kept, and known from now on"
        elif brought.refused or dry_run:
            fate = "would be kept"
        say(f"Note: {_rows(u.rows)} with {u.kind} {u.subject!r}, which nobody knows yet: {fate}.{near}")
    if brought.refused:
        n = len(brought.rejected)
        what = "1 place" if n == 1 else f"{n} places"
        say(f"Nothing was imported: {what} can't be used. Mend them, or import the rest with --skip-bad.")
        return
    if dry_run:
        points = sum(len(part.times_s) for r in reads for part in r.streams)
        usable = f"{_rows(sum(len(r.entries) for r in reads))} and {points} points"
        click.echo(f"Checked: {usable} can be used, {sum(len(r.parked) for r in reads)} would be parked.")
        return
    said = []
    if any(r.format != "stream" for r in reads):
        said.append(f"{brought.new} new, {brought.already_there} already there")
    if any(r.format == "stream" for r in reads):
        said.append(f"{brought.points_new} new points, {brought.points_already_there} already there")
    click.echo(f"Imported: {'; '.join(said)}.")
    if brought.parked:
        say(f"{_rows(brought.parked)} with an impossible time parked. Judge them with `leadline parked`.")
    for path in written:
        say(f"Rejected rows are in {path}; mend and import that file.")


def _ask_about_slips(tools: Tools, store: Store, brought: Brought) -> None:
    """Readings just brought in that look like a slip of the unit: kept as typed, and the keeper is asked."""
    from leadline.app import enquire

    for system in brought.systems:
        for e in enquire.estimate(store, tools.clock, system).quantities.values():
            for d in e.doubtful:
                if d.kind == "slip":
                    say(f"? {system} {e.quantity} {d.typed} of {d.time:%Y-%m-%d} looks like {d.guess}; kept as typed.")
                    say(f"  leadline entry confirm {d.id}   or   leadline entry correct {d.id} VALUE UNIT")


def _rows(n: int) -> str:
    return "1 row" if n == 1 else f"{n} rows"
