"""One entry whole: what was written, what it corrects, its photographs and files; and what is added to it."""

from __future__ import annotations

import datetime as dt
import weakref
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, cast
from urllib.parse import quote

from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response

from leadline.app import attachments, bring_in, describe, read_journal
from leadline.app.ports import Attachment, Store
from leadline.app.read_journal import Whole
from leadline.formats.opening import Desk
from leadline.formats.readable import readable
from leadline.journal.entry import Entry
from leadline.measures import figures, units
from leadline.measures.errors import BadInput, LeadlineError
from leadline.measures.moments import zone
from leadline.measures.quantities import QUANTITIES
from leadline.measures.words import _
from leadline.present import files, sentences
from leadline.web import doors
from leadline.web.pages.after import Flash
from leadline.web.pages.round import Asked, page
from leadline.web.pages.typed import Typed, back, refused, text
from leadline.web.ways import Right, post, way

# two files of the largest size and what is typed beside them: then one that is somewhat too large is told so kindly
MOST_BODY_BYTES = 2 * attachments.MOST_BYTES + 1_000_000
PICTURES = "image/jpeg,image/png,image/webp"
ACCEPT = f"{PICTURES},application/pdf,text/csv,text/plain,.csv,.tsv,.txt,.xlsx"
# nothing of a kept file may run, load or be framed, whatever it is taken for
ALONE = {
    "content-security-policy": "default-src 'none'; form-action 'none'; frame-ancestors 'none'; sandbox",
    "x-content-type-options": "nosniff",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "private, max-age=86400",
}
AMENDED = ("exchange", "addition", "feeding", "topoff", "service", "observation", "note", "reading")  # by one form
_AMOUNT_UNIT = {"exchange": "L", "topoff": "L"}
_tried: weakref.WeakKeyDictionary[Store, dict[tuple[str, tuple[str, ...]], bool]] = weakref.WeakKeyDictionary()
_TOLD = ("corrects", "withdrawn", "confirms", "instead_of")  # said elsewhere on the page


async def entry(request: Request) -> Response:
    """`GET /journal/entry/ID`."""
    return shown(request, request.path_params["entry"])


def shown(request: Request, ident: str, typed: Typed | None = None, lead: str = "") -> Response:
    """The page; with a file that was refused, the line at its form. `lead` says what was written nevertheless."""
    asked = Asked(request)
    asked.at_first_home()
    state = request.app.state
    now = asked.as_of or state.clock.now()
    found = read_journal.whole(state.store, now, ident)
    e = found.entry
    local = zone(describe.load(state.store, e.system).time_zone)
    right = state.doors.who(request).right
    near = [x.id for x in (found.instead_of, found.anew) if x is not None]  # the files of one happening, by either
    of_near = read_journal.lines(state.store, near) if near else {}
    mine = sorted({e.id, *(x.id for x in found.line), *(ident for line in of_near.values() for ident in line)})
    kept = [a for a in state.store.attachments(mine) if a.added_at <= now]
    once = reversed({a.id: a for a in reversed(kept)}.values())  # the same file may be with an entry and its correction
    rows = [{**_file(a, local, now), "import": _to_import(state.store, now, a)} for a in once]
    what = sentences.name(e.subject).replace("-", " ") or e.kind
    said = Flash(lead) if lead else _flash(request, kept)
    return page(request, "entry.html", {
        "title": f"{e.kind[:1].upper()}{e.kind[1:]}: {what}" if what != e.kind else what.capitalize(),
        "tabs": asked.systems(), "view": "journal", "e": e, "what": what, "state": found.state, "typed": typed,
        "when": figures.moment(e.time, local), "amount": amount(e), "facts": _facts(found, local, request),
        "again": found.state == "stands" and e.kind in AMENDED and doors.may_change(request, e.id),
        "others": _others(found, local, now), "confirmed": [figures.moment(c.time, local) for c in found.confirmed],
        "photos": [r for r in rows if r["picture"]], "files": [r for r in rows if not r["picture"]],
        "accept": ACCEPT, "pictures": PICTURES, "most": attachments.MOST_BYTES, "kinds": attachments.KINDS_SAID,
        "most_said": files.size(attachments.MOST_BYTES), "full": len(rows) >= attachments.MOST_FILES,
        "may_add": right >= Right.LOG, "may_drop": right >= Right.KEEP, "flash": said,
        "frozen": asked.as_of is not None,
    }, 200 if typed is None else 422)  # fmt: skip


def amount(e: Entry) -> str:
    """The amount as it was typed, with its unit."""
    if e.value is None:
        return ""
    less = "<" if e.extra.get("below_detection") else ""
    return f"{less}{figures.plain(e.value)} {figures.unit_label(e.unit)}".strip()


def _stored(e: Entry) -> str:
    """The amount as it is reckoned with, and the deviation that was typed with it."""
    if e.stored is None:
        return ""
    unit = _AMOUNT_UNIT.get(e.kind, "")
    if e.kind == "reading" and e.subject in QUANTITIES:
        unit = QUANTITIES[e.subject].unit
    elif not unit:
        try:
            units.to_grams(1.0, e.unit or "g")
            unit = "g"
        except LeadlineError:
            unit = "L"
    sd = f" ± {figures.plain(e.stored_sd, 3)}" if e.stored_sd is not None else ""
    return f"{figures.plain(e.stored, 5)}{sd} {figures.unit_label(unit)}".strip()


def _facts(found: Whole, local: dt.tzinfo, request: Request) -> list[tuple[str, str]]:
    e = found.entry
    names = dict(describe.systems(request.app.state.store))
    typed = amount(e) + (f" ± {figures.plain(e.sd)}" if e.sd is not None else "")
    written = figures.moment(e.recorded_at, local) if e.recorded_at else ""
    author = request.app.state.store.authors([e.id]).get(e.id, "")
    account = request.app.state.store.account(author) if author else None
    written_by = account.name if account is not None else author
    told = [
        (_("System"), names.get(e.system, e.system)), (_("What"), e.subject.replace("-", " ")), (_("As typed"), typed),
        (_("As stored"), _stored(e)), (_("Done") if e.kind == "service" else _("Method"), e.method),
        (_("To"), names.get(e.to, e.to)), (_("From"), e.source.replace("-", " ")), (_("Written by"), written_by),
        (_("Written down"), written), (_("Note"), e.note),
    ]  # fmt: skip
    more = [(k.replace("_", " ").capitalize(), _plain(v)) for k, v in e.extra.items() if k not in _TOLD]
    return [(k, v) for k, v in (*told, *more) if v]


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, Mapping):
        return ", ".join(f"{k}: {_plain(v)}" for k, v in value.items())
    return ", ".join(map(_plain, value)) if isinstance(value, list | tuple) else str(value)


def _others(found: Whole, local: dt.tzinfo, now: dt.datetime) -> list[dict[str, str]]:
    """The rest of what was written of the same happening, in the order of writing."""
    mine = found.line.index(found.entry)
    out = []
    for n, other in enumerate(found.line):
        if n == mine:
            continue
        did = _("taken back") if other.withdrawn else f"{amount(other)} {other.note}".strip() or _("written anew")
        at = figures.day(other.recorded_at or other.time, local, now)
        counts = found.stands is not None and other.id == found.stands.id
        out.append({"id": other.id, "how": _("Before") if n < mine else _("After"), "did": did, "at": at,
                    "counts": _("this one counts") if counts else ""})  # fmt: skip
    for how, near in ((_("In the place of"), found.instead_of), (_("Written anew"), found.anew)):
        if near is not None:
            did = f"{sentences.name(near.subject)} {amount(near)}".strip() or near.kind
            at = figures.moment(near.time, local)
            out.append({"id": near.id, "how": how, "did": did, "at": at, "counts": ""})
    return out


def _file(a: Attachment, local: dt.tzinfo, now: dt.datetime) -> dict[str, Any]:
    return {
        "id": a.id, "entry": a.entry, "at": f"/journal/entry/{a.entry}/file/{a.id}", "name": a.name, "note": a.note,
        "size": files.size(a.size), "kind": files.kind(a.media_type), "when": figures.day(a.added_at, local, now),
        "picture": a.picture,
    }  # fmt: skip


def _to_import(store: Store, now: dt.datetime, a: Attachment) -> str:
    """Where a laboratory's report is brought in; empty when it is nothing that can be."""
    if a.media_type not in (attachments.CSV, attachments.XLSX):
        return ""
    systems = tuple(store.systems())
    tried = _tried.setdefault(store, {})
    if (a.id, systems) not in tried:
        desk = Desk(bring_in.zone_of(store), now, systems=systems)
        content = attachments.content(store, a.entry, a.id)[1]
        tried[a.id, systems] = readable(content, attachments.ENDINGS[a.media_type][0], desk)
    return f"/import?from={a.id}" if tried[a.id, systems] else ""


def _flash(request: Request, kept: list[Attachment]) -> Flash | None:
    query = request.query_params
    names = [a.name for a in kept if a.id in query.getlist("kept")]
    if names:
        return Flash(_("Kept {files}").format(files=" and ".join(dict.fromkeys(names))))
    return Flash(_("Removed the file")) if query.get("dropped") else None


async def sent(form: FormData, field: str) -> tuple[str, bytes]:
    """Name and bytes of a file that was sent; both empty when none was chosen.

    Raises
    ------
    BadInput
        When it is too large; it is then not read.
    """
    found = form.get(field)
    if not isinstance(found, UploadFile) or not found.filename:
        return "", b""
    name = found.filename
    for sent_as, meant in (("%22", '"'), ("%0D", "\r"), ("%0A", "\n")):  # what a form's sender writes for these (HTML,
        name = name.replace(sent_as, meant)  # 4.10.22.8), and for these alone
    if found.size is not None and found.size > attachments.MOST_BYTES:
        raise attachments.too_large(name, found.size)
    return name, await found.read()


def not_kept(form: FormData, exc: BadInput) -> Typed:
    """The form of a file with why it was refused; the line begins with the file's name, as it is written."""
    return replace(refused("attach", form, exc), error=exc.line())


async def attach(request: Request) -> Response:
    """Keep what was taken with the camera, and what was chosen; what can be kept is, whatever the other is."""
    state, ident = request.app.state, request.path_params["entry"]
    made: list[Attachment] = []
    wrong: BadInput | None = None
    async with request.form() as form:
        for field in ("photo", "file"):
            try:
                name, data = await sent(form, field)
                if name:
                    made.append(attachments.keep(state.store, state.clock, ident, name, data, text(form, "note")))
            except BadInput as exc:
                wrong = exc
    if wrong is None and not made:
        wrong = BadInput(_("No file was chosen"), way_out=_("Take a photograph, or choose a file."))
    if wrong is not None:
        lead = _("Kept {files}").format(files=made[0].name) if made else ""
        return shown(request, ident, not_kept(form, wrong), lead)
    return back(f"/journal/entry/{ident}?" + "&".join(f"kept={a.id}" for a in made), "files")


async def drop(request: Request) -> Response:
    """Remove a file from the entry, for good."""
    form = await request.form()
    attachments.drop(request.app.state.store, request.path_params["entry"], text(form, "file"))
    to = text(form, "to") or request.path_params["entry"]
    return back(f"/journal/entry/{quote(to, safe='')}", "files", dropped="1")


async def file(request: Request) -> Response:
    """`GET /journal/entry/ID/file/FILE`, and `?small=1` for the small picture. Only pictures are shown in place."""
    small = request.query_params.get("small") == "1"
    kept, content = attachments.content(
        cast(Store, request.app.state.store), request.path_params["entry"], request.path_params["file"], small=small
    )
    plain = "".join(c if c.isascii() and c not in '"\\%' else "_" for c in kept.name)
    how = "inline" if kept.picture else "attachment"  # RFC 6266, with the name once more as RFC 8187 writes it
    headers = {
        **ALONE, "content-disposition": f"{how}; filename=\"{plain}\"; filename*=UTF-8''{quote(kept.name, safe='')}",
    }  # fmt: skip
    answer = Response(content, headers=headers)
    answer.headers["content-type"] = "image/jpeg" if small else kept.media_type
    return answer


WAYS = [
    way("/journal/entry/{entry}", entry, Right.VIEW, name="entry"),
    way("/journal/entry/{entry}/file/{file}", file, Right.VIEW),
    post("/journal/entry/{entry}/attach", attach, Right.LOG, most_bytes=MOST_BODY_BYTES),
    post("/journal/entry/{entry}/drop", drop, Right.KEEP),
]
