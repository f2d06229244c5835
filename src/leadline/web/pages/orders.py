"""Who is called, and how: people, ways, waits, proofs in small steps; streams that wait to be taken up."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from leadline.app import orders_set_up, oversee, stand_orders
from leadline.app.parts_of import Kind, key_of
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.quantities import QUANTITIES
from leadline.measures.words import N_, _
from leadline.present import sentences
from leadline.web.pages.round import Asked, page
from leadline.web.pages.systems import localized, zones
from leadline.web.pages.typed import Typed, back, refused, text
from leadline.web.ways import Right, post, way

_SAID = {
    "kept": N_("Kept"), "dropped": N_("Taken out"), "secret": N_("The secret is kept"), "adopted": N_("Taken up"),
}  # fmt: skip


async def orders(request: Request) -> Response:
    """`GET /watch/orders`."""
    return shown(request)


def shown(request: Request, typed: Typed | None = None) -> Response:
    """The page; with a form that could not be used, that form open and filled."""
    asked, state = Asked(request), request.app.state
    standing = stand_orders.standing(state.store)
    keep = state.secrets
    given = set(keep.names()) if keep is not None else set()
    offered = [s for s in oversee.streams(state.store) if not s.declared]
    names = dict(asked.systems())
    return page(request, "orders.html", {
        "title": _("Who is called"), "tabs": asked.systems(), "view": "watch", "typed": typed, "zones": zones(),
        "said": _done(request), "unknown": standing.unknown,
        "placed": typed is None or typed.values.get("kind_of", "") in orders_set_up.KINDS,
        "kinds": [_kind(request, k, typed, given) for k in orders_set_up.KINDS.values()],
        "missing": [n for n in standing.secrets() if n not in given], "keeps": keep is not None,
        "offered": [(s.system, names.get(s.system, s.system), s.stream) for s in offered[:40]],
        "quantities": [(q, sentences.titled(q)) for q in QUANTITIES],
    }, 200 if typed is None else 422)  # fmt: skip


def _done(request: Request) -> str:
    said = _SAID.get(request.query_params.get("done", ""), "")
    return _(said) if said else ""


def _kind(request: Request, kind: Kind, typed: Typed | None, given: set[str]) -> dict[str, Any]:
    mine = typed if typed is not None and typed.form == "part" and typed.values.get("kind_of") == kind.id else None
    rows = []
    for part in orders_set_up.shown(request.app.state.store, kind.id):
        own = key_of(kind, part)
        here = mine is not None and mine.values.get("key") == own
        secret = ""
        if kind.id == "path" and part.get("kind") in ("mail", "service"):
            secret = _("its secret is kept") if own in given else _("its secret is missing")
        fixed = kind.id == "path" and part.get("kind") not in ("mail", "service")
        said = [part[f.key] for f in kind.fields if part.get(f.key) and f.key not in kind.names]
        rows.append({
            "key": own, "name": part.get("name") or own or kind.title, "said": " · ".join([*said, secret] if secret
            else said), "now": {**part, **mine.values} if here and mine is not None else part, "fixed": fixed,
            "error": mine.error if here and mine is not None else "", "secret": secret,
        })  # fmt: skip
    fresh = mine is not None and not mine.values.get("key") and not rows if kind.single else (
        mine is not None and not mine.values.get("key"))  # fmt: skip
    return {"kind": localized(kind), "rows": rows,
            "now": dict(mine.values) if fresh and mine is not None else _start(request, kind),
            "error": mine.error if fresh and mine is not None else ""}  # fmt: skip


def _start(request: Request, kind: Kind) -> dict[str, str]:
    """What a new part begins with: a person is called by the ways that there are."""
    ways = [p["id"] for p in orders_set_up.shown(request.app.state.store, "path")] if kind.id == "person" else []
    return {"paths": ", ".join(ways)} if ways else {}


async def keep_part(request: Request) -> Response:
    """A person, a way, a wait or the proofs are set; with a way its secret, which goes beside the store."""
    form = await request.form()
    state = request.app.state
    name = text(form, "kind_of")
    try:
        kind = orders_set_up.kind_of(name)
        said = {f.key: text(form, f.key, 400) for f in kind.fields if f.key in form}
        _, wanted = orders_set_up.put(state.store, name, text(form, "key"), said)
        given = form.get("secret", "")
        if wanted and isinstance(given, str) and given:
            _secret(request, wanted, given)
        _settle(request)
    except BadInput as exc:
        return shown(request, refused("part", form, exc))
    return back("/watch/orders", f"part-{name}", done="kept")


async def drop_part(request: Request) -> Response:
    """A part is taken out."""
    form = await request.form()
    try:
        orders_set_up.drop(request.app.state.store, text(form, "kind_of"), text(form, "key"))
        _settle(request)
    except BadInput as exc:
        return shown(request, refused("drop", form, exc))
    return back("/watch/orders", done="dropped")


async def secret(request: Request) -> Response:
    """A password or an address with a token in it: kept beside the store, shown nowhere."""
    form = await request.form()
    name, given = text(form, "name", 80), form.get("secret", "")
    try:
        if name not in stand_orders.standing(request.app.state.store).secrets():
            raise UnknownName("secret", name, stand_orders.standing(request.app.state.store).secrets())
        if not isinstance(given, str) or not given:
            raise BadInput("nothing was typed", way_out="Type the password, or the service's address.")
        _secret(request, name, given)
        _settle(request)
    except BadInput as exc:
        return shown(request, refused("secret", form, exc))
    return back("/watch/orders", done="secret")


def _secret(request: Request, name: str, given: str) -> None:
    state = request.app.state
    if state.secrets is None:
        raise BadInput("secrets can't be kept here", way_out=f"leadline watch secret {name}")
    state.secrets.put(name, given[:4000])
    state.store.put_record("watch", "secrets changed", state.clock.now().isoformat())  # a running watch looks again


def _settle(request: Request) -> None:
    """A way that is set up otherwise than when it was proved is unproved from now on."""
    state = request.app.state
    state.signals_of(state.store).settle_prints(state.clock.now().timestamp())


async def adopt(request: Request) -> Response:
    """A stream that came in is taken into its system's description."""
    form = await request.form()
    state, what = request.app.state, text(form, "what")
    try:
        oversee.adopt(
            state.store, state.clock, text(form, "system"), text(form, "stream"),
            quantity_name="" if what in ("state", "") else what.removeprefix("room:"), unit=text(form, "unit", 40),
            period=text(form, "period", 20) or "60 s", room=what.startswith("room:"), state=what == "state",
        )  # fmt: skip
    except BadInput as exc:
        return shown(request, refused("adopt", form, exc))
    return back("/watch/orders", done="adopted")


WAYS = [
    way("/watch/orders", orders, Right.KEEP),
    post("/watch/orders/part", keep_part, Right.OWN),
    post("/watch/orders/drop", drop_part, Right.OWN),
    post("/watch/orders/secret", secret, Right.OWN),
    post("/watch/orders/adopt", adopt, Right.KEEP),
    *(way(f"/watch/orders/{form}", orders, Right.KEEP) for form in ("part", "drop", "secret", "adopt")),
]
