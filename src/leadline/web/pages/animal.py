"""One animal's page: where it was, what was noted, its photographs, what its kind needs; and what is logged of it."""

from __future__ import annotations

from typing import Any

from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import Response

from leadline.app import breeding, photographs, stock, stock_log, stock_warn
from leadline.journal.entry import Entry
from leadline.livestock.census import Lot
from leadline.livestock.sight import unseen
from leadline.measures import figures
from leadline.measures.errors import BadInput
from leadline.measures.units import parse_typed
from leadline.measures.words import N_, _
from leadline.present import stock as said
from leadline.web.pages import after
from leadline.web.pages.livestock import house, local_of
from leadline.web.pages.round import Asked, page
from leadline.web.pages.typed import Typed, back, refused, text
from leadline.web.ways import Right, post, way

MOST_PHOTO_BYTES = 26_000_000
SIGNS = (
    "measured", "fish-not-eating", "white-spots", "velvet-dust", "fish-flashing", "fish-breathing-fast", "slime",
    "polyps-closed", "coral-pale", "tissue-loss", "bite-marks", "worms-seen", "nudibranch-seen", "brown-jelly",
    "eggs-laid", "hatched", "settled", "nothing-found",
)  # fmt: skip
_ABOUT_SAID = {
    "sex": N_("Sex"),
    "lifeStage": N_("Life stage"),
    "origin": N_("Origin"),
    "papers": N_("Papers"),
    "price": N_("Price"),
    "irreplaceable": N_("Can't be had again"),
    "length_cm": N_("Length [cm]"),
    "vessel": N_("Vessel"),
    "note": N_("Note"),
    "born": N_("Born"),
}


async def animal(request: Request) -> Response:
    """`GET /livestock/animal/ID`."""
    return shown(request)


def shown(request: Request, typed: Typed | None = None) -> Response:
    """The page; with a form that could not be used, that form open, filled, and the line at it."""
    asked = Asked(request)
    h = house(request, asked)
    lot = h.lot(request.path_params["animal"])
    local = local_of(h, next(iter(lot.here), ""))
    store = request.app.state.store
    names = {s.id: s.name for s in h.systems.values()}
    late = next((u for p in lot.here for u in unseen(h.register, p, h.at) if u.lot is lot and u.overdue), None)
    return page(request, "animal.html", {
        "title": lot.name[:1].upper() + lot.name[1:], "tabs": asked.systems(), "view": "livestock", "lot": lot,
        "kind": lot.kind_said(), "where": said.placed(lot, names), "typed": typed,
        "late": late.said if late else "", "gone": figures.chance(late.p_gone) if late and late.looks else "",
        "hazards": [(x.name, x.caution, x.first_steps) for x in stock.cautions(h, lot)],
        "photos": [{"id": p.id, "when": figures.day(p.taken_at, local, h.at), "note": p.note}
                   for p in store.photos(subject=lot.id) if p.taken_at <= h.at],
        "about": [(_(words), _plain(lot.about[key])) for key, words in _ABOUT_SAID.items() if lot.about.get(key)],
        "came": [{"when": figures.day(c.time, local, h.at), "place": names.get(c.place, c.place),
                  "source": c.source.replace("-", " "), "n": figures.plain(c.count)} for c in lot.came],
        "stays": _stays(lot, names, local, h.at), "notes": _notes(lot, names, local, h.at),
        "losses": [{"when": figures.day(g.time, local, h.at), "n": figures.plain(g.count),
                    "how": g.how.replace("-", " "),
                    "place": names.get(g.place, g.place), "note": g.note,
                    "exam": "; ".join(f"{k}: {v}" for k, v in g.exam.items())} for g in lot.gone],
        "broods": breeding.said(store, request.app.state.clock, lot.id, h),
        "facts": [
            {"what": f.what.replace("-", " "), "said": said.fact_said(f), "label": said.label(f.mark),
             "origin": said.origin(h.catalogue, f.mark, f.source)}
            for f in (lot.kind.facts if lot.kind else ()) if f.what not in said.RECKONED_WITH
        ],
        "risks": [{"what": f"{r.how} {', '.join(r.to)}", "said": r.says, "label": said.label(r.mark),
                   "certainty": str(r.certainty)} for r in (lot.kind.risks if lot.kind else ())],
        "signs": SIGNS, "exam": said.EXAMINATION, "exam_first": said.EXAMINE_FIRST, "hows": stock_log.HOW_GONE,
        "places": [(p, names.get(p, p)) for p in lot.here],
        "others": [(i, n) for i, n in names.items() if i not in lot.here or len(lot.here) > 1],
        "flash": after.shown(request, h), "token": after.new_token(),
        "frozen": asked.as_of is not None or bool(request.query_params.get("on")),
    }, 200 if typed is None else 422)  # fmt: skip


def _plain(value: Any) -> str:
    return _("yes") if value is True else str(value)


def _stays(lot: Lot, names: dict[str, str], local: Any, now: Any) -> list[dict[str, str]]:
    return [
        {"place": names.get(s.place, s.place), "n": figures.plain(s.count), "since": figures.day(s.since, local, now),
         "until": figures.day(s.until, local, now) if s.until else _("now")}
        for s in sorted(lot.stays, key=lambda s: s.since, reverse=True)
    ]  # fmt: skip


def _notes(lot: Lot, names: dict[str, str], local: Any, now: Any) -> list[dict[str, str]]:
    return [
        {"when": figures.day(n.time, local, now), "what": n.what.replace("-", " "), "words": n.words,
         "value": f"{figures.plain(n.value)} {n.unit}".strip() if n.value is not None else "",
         "place": names.get(n.place, n.place)}
        for n in sorted(lot.notes, key=lambda n: n.time, reverse=True)
    ]  # fmt: skip


async def note(request: Request) -> Response:
    """A sign, a measure, a birth."""
    form = await request.form()
    state, ident = request.app.state, request.path_params["animal"]

    def make(token: str) -> Entry:
        return stock_log.note(
            state.store, state.clock, ident, text(form, "sign"), system=text(form, "system"), value=text(form, "value"),
            unit=text(form, "unit"), note=text(form, "note", 2000), time=text(form, "time") or None, token=token,
        ).entry  # fmt: skip

    return after.write(request, form, "note", shown, make, lambda _: f"/livestock/animal/{ident}")


async def move(request: Request) -> Response:
    """It goes elsewhere."""
    form = await request.form()
    state, ident = request.app.state, request.path_params["animal"]

    def make(token: str) -> Entry:
        to, count = text(form, "other") or text(form, "to"), text(form, "count")

        def last_word() -> None:
            n = parse_typed(count) if count and count != "all" else 1.0
            system = text(form, "system")
            after.stop(form, stock_warn.before_it_moves(state.store, state.clock, ident, to, system, n))

        return stock_log.move(
            state.store, state.clock, ident, to, system=text(form, "system"), count=count,
            away=bool(text(form, "other")), note=text(form, "note", 2000), time=text(form, "time") or None,
            tool=text(form, "tool"), washed=bool(text(form, "washed")), token=token, last_word=last_word,
        ).entry  # fmt: skip

    return after.write(request, form, "move", shown, make, lambda _: f"/livestock/animal/{ident}")


async def lose(request: Request) -> Response:
    """It died or left."""
    form = await request.form()
    state, ident = request.app.state, request.path_params["animal"]
    exam = {key: text(form, f"exam_{key}") for key, _, _ in said.EXAMINATION}

    def make(token: str) -> Entry:
        return stock_log.lose(
            state.store, state.clock, ident, system=text(form, "system"), how=text(form, "how"),
            count=text(form, "count"), note=text(form, "note", 2000), exam=exam, time=text(form, "time") or None,
            token=token,
        ).entry  # fmt: skip

    return after.write(request, form, "lose", shown, make, lambda _: f"/livestock/animal/{ident}")


async def tell(request: Request) -> Response:
    """More is said of it."""
    form = await request.form()
    state, ident = request.app.state, request.path_params["animal"]
    about: dict[str, Any] = {
        k: text(form, k) for k in ("kind", "sex", "lifeStage", "origin", "papers", "price", "currency") if text(form, k)
    }
    if text(form, "irreplaceable"):
        about["irreplaceable"] = True

    def make(token: str) -> Entry:
        if not about:
            raise BadInput(_("nothing was said"), way_out=_("Fill at least one field."))
        return stock_log.tell(state.store, state.clock, ident, about)

    return after.write(request, form, "tell", shown, make, lambda _: f"/livestock/animal/{ident}")


async def photograph(request: Request) -> Response:
    """A photograph is kept."""
    state, ident = request.app.state, request.path_params["animal"]
    async with request.form(max_part_size=MOST_PHOTO_BYTES) as form:
        sent = form.get("file")
        name, data = (sent.filename or "", await sent.read()) if isinstance(sent, UploadFile) else ("", b"")
    try:
        if not name:
            raise BadInput(_("no picture was chosen"), way_out=_("Take one, or choose a JPEG, PNG or WebP file."))
        lot = house(request).lot(ident)
        place = next(iter(lot.here), lot.stays[-1].place if lot.stays else "")
        photographs.keep(state.store, state.clock, place, lot.id, data, note=text(form, "note"))
    except BadInput as exc:
        return shown(request, refused("photograph", form, exc))
    return back(f"/livestock/animal/{ident}", "photographs", done="photo")


async def photo(request: Request) -> Response:
    """`GET /livestock/photo/ID`, and `?small=1` for the small one."""
    small = request.query_params.get("small") == "1"
    found = request.app.state.store.photo_content(request.path_params["photo"], small=small)
    if found is None:
        raise BadInput(_("there is no such photograph"), way_out=_("Reload the page to see what is there."))
    media, content = found
    return Response(content, media_type=media, headers={"cache-control": "private, max-age=31536000, immutable"})


WAYS = [
    way("/livestock/photo/{photo}", photo, Right.VIEW),
    way("/livestock/animal/{animal}", animal, Right.VIEW, name="animal"),
    post("/livestock/animal/{animal}/note", note, Right.LOG),
    post("/livestock/animal/{animal}/move", move, Right.KEEP),
    post("/livestock/animal/{animal}/lose", lose, Right.LOG),
    post("/livestock/animal/{animal}/tell", tell, Right.KEEP),
    post("/livestock/animal/{animal}/photograph", photograph, Right.LOG, most_bytes=MOST_PHOTO_BYTES),
]
