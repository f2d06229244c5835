"""Bring files in: what each column becomes is seen and can be changed before anything is kept."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response

from leadline.app import bring_in
from leadline.app.bring_in import Brought, FileRead, Question
from leadline.formats import export, opening
from leadline.measures import figures
from leadline.measures.errors import BadInput, LeadlineError
from leadline.measures.quantities import QUANTITIES
from leadline.measures.words import N_, _, ngettext
from leadline.model import substances, waters
from leadline.present import sentences
from leadline.system.bands import DEFAULTS
from leadline.web.pages.round import Asked, page
from leadline.web.pages.typed import Typed, back, refused, text
from leadline.web.staging import MOST_BYTES, Staging, Waiting
from leadline.web.ways import Right, post, way

SHOWN = 12  # problems written out; the rest is counted
_PLAIN = (
    ("date", N_("the date")),
    ("time", N_("the time of day")),
    ("system", N_("the system")),
    ("note", N_("a note")),
    ("ignore", N_("left out")),
)
DATES = (
    ("", N_("as found")),
    ("day-first", N_("day first: 31/12/2025")),
    ("month-first", N_("month first: 12/31/2025")),
    ("iso", N_("year first: 2025-12-31")),
)
DECIMALS = (("", N_("as found")), (".", N_("8.1, a point")), (",", N_("8,1, a comma")))
_FIX = {
    "dates": N_("Choose how its dates read."),
    "decimal": N_("Choose its decimal sign."),
    "unit": N_("Choose the units."),
    "system": N_("Choose the system."),
    "sheet": N_("Choose the sheet."),
    "columns": N_("Say what the columns are."),
}


@dataclass
class Looked:
    """One file as it was read: what it would give, or what must be asked first."""

    name: str
    read: FileRead | None = None
    questions: list[dict[str, Any]] = field(default_factory=list)
    error: str = ""
    preview: list[dict[str, str]] = field(default_factory=list)


async def start(request: Request) -> Response:
    """`GET /import`: choose files."""
    return _start(request)


def _start(request: Request, typed: Typed | None = None) -> Response:
    asked = Asked(request)
    store = request.app.state.store
    return page(request, "import.html", {
        "title": _("Bring in a file"), "tabs": asked.systems(), "view": "systems", "typed": typed,
        "system": request.query_params.get("system", ""), "parked": len(store.parked()),
        "mappings": sorted(store.records(bring_in.MAPPING)), "done": request.query_params.get("done", "")[:200],
    }, 200 if typed is None else 422)  # fmt: skip


async def send(request: Request) -> Response:
    """Files come, and wait."""
    async with request.form(max_files=8, max_part_size=MOST_BYTES) as form:
        sent = [x for x in form.getlist("file") if isinstance(x, UploadFile)]
        files = [(x.filename or "", await x.read()) for x in sent]
        staging: Staging = request.app.state.staging
        try:
            waiting = staging.keep(files, text(form, "system"), _who(request))
            chosen = text(form, "mapping", 80)
            if chosen:
                _recall(request, waiting, chosen)
        except BadInput as exc:
            return _start(request, refused("send", form, exc))
    return back(f"/import/{waiting.id}")


def _recall(request: Request, waiting: Waiting, name: str) -> None:
    saved = bring_in.mapping(request.app.state.store, name)
    o = waiting.options
    o.saved, o.units, o.columns = True, saved.get("units", {}), saved.get("columns", {})
    o.encoding_before = saved.get("encoding") or ""
    for key in ("system", "sheet", "dates", "decimal", "time_of_day"):
        setattr(o, key, getattr(o, key) or saved.get(key) or "")


def _who(request: Request) -> str:
    who = request.app.state.doors.who(request)
    return who.account if who is not None else ""


def _waiting(request: Request) -> Waiting:
    found: Waiting | None = request.app.state.staging.find(request.path_params["ident"], _who(request))
    if found is None:
        raise BadInput(_("these files wait no longer"), way_out=_("Choose them again: /import"))
    return found


async def look(request: Request) -> Response:
    """`GET /import/ID`: what each column becomes, what is asked, what can't be used."""
    return await _look(request, _waiting(request))


def _read_all(request: Request, waiting: Waiting) -> list[Looked]:
    desk = opening.desk_for(request.app.state.store, request.app.state.clock)
    found = []
    for path in waiting.files:
        one = Looked(path.name)
        try:
            one.read = opening.read(path, desk, waiting.options)
            one.preview = one.read.preview
        except Question as exc:
            one.questions = [_asked(q) for q in exc.parts]
            one.preview = exc.preview
        except LeadlineError as exc:
            if "--encoding" in exc.way_out:
                one.questions = [_letters(exc)]
            else:
                one.error = exc.line().replace(f"{path.parent}/", "")
        found.append(one)
    return found


def _letters(exc: LeadlineError) -> dict[str, Any]:
    """How the letters of a file were written must be asked; what one answer would make of it is shown."""
    sample = re.search(r"cp1252 if this reads right: ('[^']*')", exc.way_out)
    fix = f"As Western (Windows) it reads {sample[1]}." if sample else "Choose how its letters were written."
    choices = [
        ("cp1252", "Western (Windows)"), ("cp1250", "Central European (Windows)"), ("mac_roman", "Western (Mac)"),
        ("iso8859-15", "Western (ISO)"), ("cp1251", "Cyrillic (Windows)"), ("shift_jis", "Japanese"),
    ]  # fmt: skip
    return {"option": "encoding", "what": "Its letters are not written as UTF-8", "choices": choices, "fix": fix}


def _asked(q: Question) -> dict[str, Any]:
    choices: list[Any] = []
    if isinstance(q.choices, Mapping):
        choices = list(q.choices.items())
    elif q.choices:
        choices = [(c, c) for c in q.choices]
    what = q.what[:1].upper() + q.what[1:]
    return {"option": q.option, "what": what, "choices": choices, "fix": _(_FIX.get(q.option, q.way_out))}


async def _look(
    request: Request, waiting: Waiting, typed: Typed | None = None, brought: Brought | None = None
) -> Response:
    asked = Asked(request)
    looked = await asyncio.to_thread(_read_all, request, waiting)
    reads = [x.read for x in looked if x.read is not None]
    ready = bool(reads) and len(reads) == len(looked)
    if brought is None and ready:
        brought = await asyncio.to_thread(_dry, request, reads)
    problems = list(brought.rejected) if brought is not None else []
    known = dict(asked.systems())
    o = waiting.options
    return page(request, "import-look.html", {
        "title": _("Bring in a file"), "tabs": asked.systems(), "view": "systems", "typed": typed, "id": waiting.id,
        "files": [_file(x, problems, waiting) for x in looked], "ready": ready, "options": o, "dates": _said(DATES),
        "decimals": _said(DECIMALS), "systems": list(known.items()), "becomes": _becomes(looked), "zones": (),
        "usable": sum(len(r.entries) for r in reads), "points": sum(len(p.times_s) for r in reads for p in r.streams),
        "parked": sum(len(r.parked) for r in reads), "bad": len(problems),
        "unknown": [(u.kind, u.subject, u.rows, " or ".join(u.near)) for u in brought.unknown_subjects]
        if brought is not None else [],
        "warnings": [_warning(w, waiting) for w in (brought.warnings if brought is not None else ())],
        "asked": {q["option"] for x in looked for q in x.questions}, "odd": _odd(reads),
        "wide": any(x.preview for x in looked),
    }, 200 if typed is None else 422)  # fmt: skip


def _warning(words: str, waiting: Waiting) -> str:
    """A note of the reading without the server's folder and without words that are meant for the prompt."""
    plain = words.replace(f"{waiting.files[0].parent}/", "")
    return " ".join(x for x in plain.replace(". Otherwise:", ".\nOtherwise:").split("\n") if "--" not in x).strip()


def _odd(reads: list[FileRead]) -> list[str]:
    """Readings that hardly any kept reef ever had: more than twice a common limit, or less than half of it."""
    found = []
    for read in reads:
        for line, e in zip(read.lines, read.entries, strict=True):
            limit = (DEFAULTS.get(e.subject) or (None, None))[1] if e.kind == "reading" else None
            if limit is None or e.stored is None or limit[0] / 2 <= e.stored <= limit[1] * 2:
                continue
            said = f"{figures.plain(e.value)} {figures.unit_label(e.unit)}".strip() if e.value is not None else ""
            found.append(_("Row {line}: {quantity} {value}").format(
                line=line, quantity=sentences.name(e.subject), value=said
            ))  # fmt: skip
    return found[:SHOWN] + ([_("and {number} more").format(number=len(found) - SHOWN)] if len(found) > SHOWN else [])


def _dry(request: Request, reads: list[FileRead]) -> Brought:
    desk = opening.desk_for(request.app.state.store, request.app.state.clock)
    return bring_in.bring_in(request.app.state.store, reads, dry_run=True, known=desk.known)


def _file(x: Looked, problems: list[Any], waiting: Waiting) -> dict[str, Any]:
    said = {
        "journal": _("a journal"),
        "stream": _("points of streams"),
        "wide": _("a spreadsheet"),
        "register": _("a register"),
    }
    mine = [p for p in problems if x.read is not None and p.file == x.read.file]
    kinds = bring_in.alike(mine)
    return {
        "name": x.name, "format": said.get(x.read.format, x.read.format) if x.read else "", "error": x.error,
        "questions": x.questions, "preview": [_column(p, waiting) for p in x.preview],
        "rows": x.read.rows if x.read else 0, "bad": len(mine),
        "problems": [_problem(alike) for alike in kinds[:SHOWN]],
        "more": sum(len(alike) for alike in kinds[SHOWN:]), "reading": x.read.mapping if x.read else {},
    }  # fmt: skip


def _column(p: Mapping[str, str], waiting: Waiting) -> dict[str, Any]:
    from leadline.measures.figures import units_offered

    becomes = p["becomes"]
    offered = [p["unit"]] if p["unit"] else [""]
    quantity = becomes.removeprefix("reading:")
    if quantity in QUANTITIES:
        offered += units_offered(quantity, "metric")
        offered += units_offered(quantity, "us")
    elif ":" in becomes and p["unit"]:
        offered += ["L", "gal"] if becomes.startswith(("exchange", "topoff")) else ["g", "mL", "L"]
    return {**p, "first": p["first"][:40], "units": list(dict.fromkeys(offered)),
            "chosen": waiting.options.columns.get(p["column"], "")}  # fmt: skip


def _said(table: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    return [(code, _(words)) for code, words in table]


def _problem(alike: Sequence[bring_in.Problem]) -> str:
    """Problems of one kind in one line: where, what stood there, why."""
    p, rows = alike[0], list(dict.fromkeys(x.line for x in alike if x.line))
    place = _("The file")
    if rows:
        place = ngettext("Row {rows}", "Rows {rows}", len(rows)).format(rows=_some([str(r) for r in rows], 6))
    if p.column:
        reason = p.reason
        if reason.startswith(repr(p.value)):
            reason = reason.removeprefix(repr(p.value)).lstrip()
        values = _some([repr(v[:40]) for v in dict.fromkeys(x.value for x in alike)], 3)
        return _("{place}, column {column}: {value}: {reason}").format(
            place=place, column=p.column, value=values, reason=reason
        )
    return _("{place}: {reason}").format(place=place, reason=p.reason)


def _some(words: list[str], most: int) -> str:
    said = ", ".join(words[:most])
    more = len(words) - most
    return _("{names} and {number} more").format(names=said, number=more) if more > 0 else said


def _becomes(looked: list[Looked]) -> list[tuple[str, str]]:
    """What a column can be."""
    found: dict[str, str] = dict(_said(_PLAIN))
    found |= {f"reading:{q}": sentences.titled(q) for q in QUANTITIES}
    found |= {f"exchange:{w}": _("water change: {water}").format(water=w) for w in waters.WATERS}
    found |= {f"addition:{s}": _("addition: {substance}").format(substance=s) for s in substances.SUBSTANCES}
    for p in (p for x in looked for p in x.preview):
        found.setdefault(p["becomes"], p["becomes"].replace(":", ": ").replace("-", " "))
    return list(found.items())


async def change(request: Request) -> Response:
    """What was said of the columns is taken, and the files are read again; or they are brought in."""
    form = await request.form(max_fields=2000)
    waiting = _waiting(request)
    o = waiting.options
    o.system, o.dates = text(form, "system"), text(form, "dates")
    o.encoding = text(form, "encoding", 20) or o.encoding
    o.decimal, o.time_of_day, o.sheet = text(form, "decimal"), text(form, "time_of_day", 8), text(form, "sheet", 80)
    was = {k.removeprefix("was-"): v for k, v in form.multi_items() if k.startswith("was-") and isinstance(v, str)}
    columns, units = dict(o.columns), dict(o.units)
    for n in was:
        heading, becomes, unit = was[n], text(form, f"becomes-{n}", 120), text(form, f"unit-{n}", 40)
        if becomes and becomes != text(form, f"now-{n}", 120):
            columns[heading] = becomes
        if unit and unit != text(form, f"nowunit-{n}", 40):
            units[heading] = unit
    for key, value in form.multi_items():
        if key.startswith("ask-") and isinstance(value, str) and value.strip():
            units[key.removeprefix("ask-")] = figures.unit_typed(value.strip()[:40])
    o.columns, o.units = columns, units
    if text(form, "do") == "bring":
        return await _bring(request, waiting, form)
    return back(f"/import/{waiting.id}", "result")


async def _bring(request: Request, waiting: Waiting, form: FormData) -> Response:
    state = request.app.state
    looked = await asyncio.to_thread(_read_all, request, waiting)
    reads = [x.read for x in looked if x.read is not None]
    if len(reads) != len(looked):
        return await _look(request, waiting, Typed("bring", _("Something must be answered first.")))
    skip = bool(text(form, "skip_bad"))
    desk = opening.desk_for(state.store, state.clock)
    try:
        brought = await asyncio.to_thread(
            lambda: bring_in.bring_in(state.store, reads, skip_bad=skip, known=desk.known)
        )
    except LeadlineError as exc:
        return await _look(request, waiting, Typed("bring", exc.line()))
    if brought.refused:
        words = _("Nothing was brought in: mend the rows below in the file, or tick that they are left out.")
        return await _look(request, waiting, Typed("bring", words), brought)
    if text(form, "adopt"):
        bring_in.adopt(state.store, brought.unknown_subjects, state.clock.now())
    name = text(form, "save", 60)
    wide = next((r for r in reads if r.format == "wide"), None)
    if name and wide is not None:
        bring_in.save_mapping(state.store, name, {**wide.mapping, "sheet": waiting.options.sheet})
    waiting.rejected = {
        path.name: export.rejected(r, [p for p in brought.rejected if p.file == r.file and p.fields])
        for r, path in zip(reads, waiting.files, strict=True)
        if any(p.file == r.file and p.fields for p in brought.rejected)
    }
    said = []
    if brought.new or brought.already_there:
        said.append(
            ngettext("{n} entry new, {old} already there", "{n} entries new, {old} already there", brought.new).format(
                n=figures.number(brought.new, 0), old=figures.number(brought.already_there, 0)
            )
        )
    if brought.points_new or brought.points_already_there:
        said.append(
            ngettext(
                "{n} point new, {old} already there", "{n} points new, {old} already there", brought.points_new
            ).format(n=figures.number(brought.points_new, 0), old=brought.points_already_there)
        )
    if brought.parked:
        said.append(
            ngettext(
                "{n} row with an impossible time wait for you",
                "{n} rows with an impossible time wait for you",
                brought.parked,
            ).format(n=figures.number(brought.parked, 0))
        )
    if waiting.rejected:
        said.append(
            ngettext("{n} place left out", "{n} places left out", len(brought.rejected)).format(
                n=figures.number(len(brought.rejected), 0)
            )
        )
        return back(f"/import/{waiting.id}/done", said="; ".join(said) or _("nothing new"))
    request.app.state.staging.forget(waiting.id)
    return back("/import", done="; ".join(said) or _("nothing new"))


async def done(request: Request) -> Response:
    """`GET /import/ID/done`: what was left out, to be mended."""
    waiting = _waiting(request)
    return page(request, "import-done.html", {
        "title": _("Brought in"), "tabs": Asked(request).systems(), "view": "systems", "id": waiting.id,
        "said": request.query_params.get("said", "")[:200], "rejected": sorted(waiting.rejected),
    })  # fmt: skip


async def rejected(request: Request) -> Response:
    """`GET /import/ID/rejected.csv?file=…`: the rows that were left out, as they stood in the file."""
    waiting = _waiting(request)
    file = request.query_params.get("file", "")
    content = waiting.rejected.get(file)
    if content is None:
        raise BadInput(_("no row of that file was left out"), way_out=_("Go back: /import"))
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", file)[-80:]  # by its ending it is known again, and its reasons are no notes
    headers = {"content-disposition": f'attachment; filename="{name}.rejected.csv"'}
    return Response(content, media_type="text/csv; charset=utf-8", headers=headers)


# -- rows with an impossible time ----------------------------------------------------------------------


async def parked(request: Request) -> Response:
    """`GET /import/parked`: rows dated in the future, or before clocks were set, for the keeper to judge."""
    return _parked(request)


def _parked(request: Request, typed: Typed | None = None) -> Response:
    rows = request.app.state.store.parked()
    return page(request, "parked.html", {
        "title": _("Rows to judge"), "tabs": Asked(request).systems(), "view": "systems", "typed": typed,
        "rows": [{
            "id": r.id, "file": r.file.rpartition("/")[2], "line": r.line, "reason": r.reason,
            "said": " ".join(str(r.row[k]) for k in ("system", "kind", "stream", "subject", "value", "unit", "note")
                             if r.row.get(k)), "time": str(r.row.get("time", "")),
        } for r in rows[:200]], "more": max(len(rows) - 200, 0),
        "done": request.query_params.get("done", ""),
    }, 200 if typed is None else 422)  # fmt: skip


async def judge(request: Request) -> Response:
    """One of them is kept, with its right time, or struck."""
    form = await request.form()
    state, number = request.app.state, text(form, "row", 12)
    try:
        ident = int(number) if number.isascii() and number.isdigit() else -1
        if text(form, "drop"):
            bring_in.drop(state.store, ident, state.clock.now())
            return back("/import/parked", done="struck")
        read_row = opening.parked_row(opening.desk_for(state.store, state.clock))
        when = text(form, "time", 40) or None
        bring_in.release(state.store, ident, read_row, at=state.clock.now(), time=when)
    except BadInput as exc:
        return _parked(request, refused("judge", form, exc))
    return back("/import/parked", done="kept")


WAYS = [
    way("/import", start, Right.KEEP, name="import"),
    post("/import", send, Right.KEEP, most_bytes=MOST_BYTES + 1_000_000),
    way("/import/parked", parked, Right.KEEP),
    post("/import/parked", judge, Right.KEEP),
    way("/import/{ident}", look, Right.KEEP),
    post("/import/{ident}", change, Right.KEEP, most_bytes=1_000_000),
    way("/import/{ident}/done", done, Right.KEEP),
    way("/import/{ident}/rejected.csv", rejected, Right.KEEP),
]
