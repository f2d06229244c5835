"""One's own account, the people of the house, and pages shared with a link."""

from __future__ import annotations

import datetime as dt
from typing import Any
from urllib.parse import quote, unquote, urlsplit

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from leadline.app import accounts, passkeys, stand_orders
from leadline.app.ports import Pass
from leadline.measures import figures
from leadline.measures.errors import BadInput
from leadline.measures.moments import zone
from leadline.measures.words import DECIMALS, N_, _
from leadline.web import doors
from leadline.web.pages.round import Asked, page, plain_word
from leadline.web.pages.typed import Typed, back, refused, text
from leadline.web.ways import Right, post, way

_DAYS = tuple(map(str, accounts.SHARES_D))
_WISH_S = 400 * 86400  # the longest that browsers keep a cookie
_DONE = {
    "wishes": N_("Kept"),
    "passphrase": N_("Your passphrase is changed; other browsers must sign in again"),
    "passkey": N_("This device's passkey is added"),
    "dropped": N_("Removed"),
    "ended": N_("That browser is signed out"),
    "role": N_("The role is changed"),
    "closed": N_("The account is closed"),
    "taken": N_("Taken back"),
}


def _local(request: Request) -> dt.tzinfo:
    found = Asked(request).systems()
    store = request.app.state.store
    return zone(stand_orders.names_of(store, found[0][0])[1]) if found else dt.UTC


# -- one's own account ---------------------------------------------------------------------------------


async def me(request: Request) -> Response:
    """`GET /me`: units, passphrase, passkeys, browsers, tokens of programs."""
    return _me(request)


def _me(request: Request, typed: Typed | None = None, token: str = "") -> Response:
    state, local = request.app.state, _local(request)
    who = state.doors.who(request)
    account = state.store.account(who.account) if who.account else None
    now = state.clock.now()
    return page(
        request,
        "me.html",
        {
            "title": _("You"),
            "tabs": Asked(request).systems(),
            "view": "me",
            "account": account,
            "typed": typed,
            "said": _(_DONE.get(request.query_params.get("done", ""), "")),
            "token": token,
            "units": who.wishes.get("units", ""),
            "role_said": _(accounts.ROLE_SAID.get(account.role, "")) if account else "",
            "keys": [
                (k.id, k.name, _when(k.used_at or k.made_at, local, now)) for k in state.store.passkeys(who.account)
            ]
            if account
            else [],
            "browsers": [
                (s.digest[:16], s.words, _when(s.seen_at, local, now), s.digest == who.session)
                for s in state.store.sessions(who.account)
            ]
            if account
            else [],
            "programs": [_pass(p, local, now) for p in state.store.passes("program", who.account)] if account else [],
            "decimal_wished": who.wishes.get("decimal", ""),
            "language_wished": who.wishes.get("language", "") or doors.tastes(request)["language"],
            "languages": [(t.tag, t.name) for t in state.tongues.values()] if len(state.tongues) > 1 else [],
            "rights": accounts.PROGRAM_RIGHTS,
            "least": accounts.LEAST,
        },
        200 if typed is None else 422,
    )


def _when(moment: dt.datetime | None, local: dt.tzinfo, now: dt.datetime) -> str:
    if moment is None:
        return _("not used yet")
    day = figures.day(moment, local, now)
    same = moment.astimezone(local).date() == now.astimezone(local).date()
    return f"{moment.astimezone(local):%H:%M}" if same else day


def _pass(p: Pass, local: dt.tzinfo, now: dt.datetime) -> dict[str, str]:
    return {
        "mark": p.digest[:16], "name": p.name, "target": p.target, "account": p.account,
        "until": figures.moment(p.ends_at, local) if p.ends_at else "", "over": "over" if p.ends_at and
        p.ends_at <= now else "", "used": _when(p.used_at, local, now),
    }  # fmt: skip


async def wishes(request: Request) -> Response:
    """Units and language, for one's own eyes alone."""
    form = await request.form()
    state, who = request.app.state, request.app.state.doors.who(request)
    units = text(form, "units")
    if units not in accounts.UNITS:
        return _me(request, refused("wishes", form, BadInput(_("choose metric, US or as each system says"))))
    wished = {"units": units}
    if "decimal" in form:
        wished["decimal"] = text(form, "decimal", 1)
        if wished["decimal"] not in ("", *DECIMALS):
            return _me(request, refused("wishes", form, BadInput(_("choose a point or a comma"))))
    if "language" in form:
        wished["language"] = text(form, "language", 40)
        if wished["language"] and wished["language"] not in state.tongues:
            return _me(request, refused("wishes", form, BadInput(_("choose a language of the list"))))
    answer = back("/me", done="wishes")
    if who.account:
        accounts.wish(state.store, state.store.account(who.account), wished)
    else:
        for taste in wished.keys() - {"language"}:
            doors.remember(answer, request, taste, wished[taste])
    if "language" in wished:  # with an account too: the sign-in is a page of this browser
        doors.remember(answer, request, "language", wished["language"])
    return answer


async def passphrase(request: Request) -> Response:
    """Another passphrase, against the present one."""
    form = await request.form()
    state, who = request.app.state, request.app.state.doors.who(request)
    account = state.store.account(who.account) if who.account else None
    if account is None:
        return _me(request, Typed("passphrase", _("There is no account here.")))
    old, new = (str(form.get(k, "")) for k in ("present", "passphrase"))
    pace = f"change {account.id}"  # not that of the door: a stranger there must not stand in the way here
    if not state.sign_ins.may(pace):
        return _me(request, Typed("passphrase", _("Too many tries. Wait a minute, then try again.")))
    try:
        right = not account.hash or await state.weighing.weigh(accounts.opens, account, old)
    except BadInput as exc:
        return _me(request, Typed("passphrase", _line(exc)))
    if not right:
        return _me(request, Typed("passphrase", _("The present passphrase is another one.")))
    try:
        changed = await state.weighing.weigh(accounts.change_passphrase, state.store, state.clock, account, new)
    except BadInput as exc:
        return _me(request, Typed("passphrase", _line(exc)))
    finally:
        state.sign_ins.forgive(pace)
    return doors.let_in(back("/me", done="passphrase"), request, doors.open_for(request, changed))


def _line(exc: BadInput) -> str:
    line = exc.line()
    return f"{line[:1].upper()}{line[1:]}"


async def drop_key(request: Request) -> Response:
    """A passkey is forgotten."""
    form = await request.form()
    state, who = request.app.state, request.app.state.doors.who(request)
    account = state.store.account(who.account) if who.account else None
    try:
        if account is not None:
            passkeys.drop(state.store, state.clock, account, text(form, "key", 2000))
    except BadInput as exc:
        return _me(request, refused("key", form, exc))
    return back("/me", done="dropped")


async def end_browser(request: Request) -> Response:
    """One of one's browsers is signed out."""
    form = await request.form()
    state, who = request.app.state, request.app.state.doors.who(request)
    mark = text(form, "browser")
    for s in state.store.sessions(who.account) if len(mark) == 16 else []:
        if s.digest.startswith(mark):
            state.store.end_sessions(who.account, only=s.digest)
    return back("/me", done="ended")


async def token(request: Request) -> Response:
    """A token for a program, shown once."""
    form = await request.form()
    state, who = request.app.state, request.app.state.doors.who(request)
    account = state.store.account(who.account) if who.account else None
    try:
        if account is None:
            raise BadInput(_("there is no account here"), way_out=_("Make one first."))
        made = accounts.program_token(state.store, state.clock, account, text(form, "name"), text(form, "right"))
    except BadInput as exc:
        return _me(request, refused("token", form, exc))
    return _me(request, token=made)


async def drop_token(request: Request) -> Response:
    """A program's token is taken back."""
    form = await request.form()
    state, who = request.app.state, request.app.state.doors.who(request)
    try:
        accounts.take_back(state.store, state.clock, text(form, "mark"), who.account)
    except BadInput as exc:
        return _me(request, refused("token", form, exc))
    return back("/me", done="taken")


# -- the people of the house ---------------------------------------------------------------------------


async def people(request: Request) -> Response:
    """`GET /people`: accounts, invitations, shared pages, what happened at the door."""
    return _people(request)


def _people(request: Request, typed: Typed | None = None, invited: tuple[str, str] | None = None) -> Response:
    state, local = request.app.state, _local(request)
    now = state.clock.now()
    names = {a.id: a.name for a in state.store.accounts()}
    return page(request, "people.html", {
        "title": _("People"), "tabs": Asked(request).systems(), "view": "people", "typed": typed,
        "said": _(_DONE.get(request.query_params.get("done", ""), "")), "invited": _shown_link(request, invited),
        "accounts": [(a.id, a.name, a.role) for a in state.store.accounts() if a.closed_at is None],
        "kept": state.doors.kept, "me": state.doors.who(request).account,
        "closed": [a.name for a in state.store.accounts() if a.closed_at is not None],
        "invitations": [_pass(p, local, now) for p in state.store.passes("invitation")],
        "shares": [_pass(p, local, now) for p in state.store.passes("share")],
        "roles": [(r, _(accounts.ROLE_SAID[r])) for r in accounts.ROLES],
        "events": [(figures.moment(e.at, local), e.what, names.get(e.account, e.account), e.origin)
                   for e in state.store.door_events(30)],
    }, 200 if typed is None else 422)  # fmt: skip


def _shown_link(request: Request, made: tuple[str, str] | None) -> dict[str, Any] | None:
    """A secret address, once, in letters and as a QR code to be scanned by a phone."""
    if made is None:
        return None
    import segno

    path, name = made
    address = f"{doors.place_of(request).origin}{path}"
    code = segno.make(address, error="m").svg_inline(scale=4, border=4, dark="#000", light="#fff", svgclass="code")
    here = doors.place_of(request).host in ("localhost", "127.0.0.1", "::1")
    return {"address": address, "code": Markup(code), "name": name, "only_here": here}


async def invite(request: Request) -> Response:
    """Somebody is invited, or let in anew when the passphrase is forgotten."""
    form = await request.form()
    state = request.app.state
    try:
        name, account = text(form, "name"), text(form, "account")
        if not account and not name:
            raise BadInput("whom?", way_out=_("Type the name by which the house knows them."))
        secret = accounts.invite(state.store, state.clock, name, text(form, "role") or "reader", account=account)
    except BadInput as exc:
        return _people(request, refused("invite", form, exc))
    return _people(request, invited=(f"/come-in/{secret}", name or account))


async def first(request: Request) -> Response:
    """The owner's own account, where none is yet and everybody is let in: on this machine's own pages."""
    state = request.app.state
    if not state.doors.kept or not accounts.nobody_yet(state.store):
        return back("/people")
    secret = accounts.first_invitation(state.store, state.clock)
    return back(f"/come-in/{secret}")


async def role(request: Request) -> Response:
    """Somebody gets another role, or their account is closed."""
    form = await request.form()
    state = request.app.state
    try:
        if text(form, "close"):
            accounts.close(state.store, state.clock, text(form, "account"))
            return back("/people", done="closed")
        accounts.give_role(state.store, state.clock, text(form, "account"), text(form, "role"))
    except BadInput as exc:
        return _people(request, refused("role", form, exc))
    return back("/people", done="role")


async def take_back(request: Request) -> Response:
    """An invitation or a shared page ends."""
    form = await request.form()
    state = request.app.state
    try:
        accounts.take_back(state.store, state.clock, text(form, "mark"))
    except BadInput as exc:
        return _people(request, refused("pass", form, exc))
    return back("/people", done="taken")


# -- shared pages --------------------------------------------------------------------------------------


async def share(request: Request) -> Response:
    """`GET /share?page=…`: for how long."""
    return _share(request, doors.inside(request.query_params.get("page", "/")))


def _share(request: Request, target: str, error: str = "", made: str = "") -> Response:
    if not accounts.shareable(unquote(urlsplit(target).path)):
        return plain_word(request, _("This page is not one to share."), 422)
    return page(request, "share.html", {
        "title": _("Share a page"), "tabs": Asked(request).systems(), "view": "share", "target": target, "error": error,
        "days": accounts.SHARES_D, "made": _shown_link(request, (f"/shared/{made}", target) if made else None),
    }, 422 if error else 200)  # fmt: skip


async def share_it(request: Request) -> Response:
    """A link is made, and shown once."""
    form = await request.form()
    state, who = request.app.state, request.app.state.doors.who(request)
    target = doors.inside(text(form, "page", 400))
    days = text(form, "days")
    if not accounts.shareable(unquote(urlsplit(target).path)):
        return plain_word(request, _("This page is not one to share."), 422)
    try:
        made = accounts.share(state.store, state.clock, who.account, target, target, int(days) if days in _DAYS else 0)
    except BadInput as exc:
        return _share(request, target, exc.line())
    return _share(request, target, made=made)


class _Inner:
    """Another page of this site as the answer, seen by whoever holds its secret address."""

    def __init__(self, scope: Scope, app: Any) -> None:
        self.scope, self.app = scope, app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        await self.app(self.scope, receive, send)


async def shared(request: Request) -> Any:
    """`GET /shared/SECRET`: one page, to be read only."""
    state, where = request.app.state, doors.pace_of(request)
    found = None if state.wrong_links.full(where) else accounts.shared(
        state.store, state.clock, request.path_params["secret"]
    )  # fmt: skip
    if found is None:
        state.wrong_links.may(where)
        return plain_word(request, _("This link is wrong, or its time is over. Ask for another."), 404)
    target, query = unquote(urlsplit(found.target).path), urlsplit(found.target).query
    if not accounts.shareable(target):  # shared before this was asked
        return plain_word(request, _("This link is wrong, or its time is over. Ask for another."), 404)
    kept = {k: v for k, v in request.scope.items() if k not in ("path_params", "endpoint", "route", "state")}
    until = figures.moment(found.ends_at, _local(request)) if found.ends_at else ""
    scope = {**kept, "path": target, "raw_path": quote(target).encode(), "state": {},
             "query_string": quote(query, safe="=&%+/:,;@!$'()*?-._~").encode(), "leadline.shared": until,
             "leadline.outside": request.url.path}  # fmt: skip
    return _Inner(scope, request.app.router)


WAYS = [
    way("/me", me, Right.VIEW, name="me", in_person=True),
    post("/me/wishes", wishes, Right.VIEW, in_person=True),
    post("/me/passphrase", passphrase, Right.VIEW, in_person=True),
    post("/me/key", drop_key, Right.VIEW, in_person=True),
    post("/me/browser", end_browser, Right.VIEW, in_person=True),
    post("/me/token", token, Right.VIEW, in_person=True),
    post("/me/token/drop", drop_token, Right.VIEW, in_person=True),
    *(
        way(f"/me/{form}", me, Right.VIEW, in_person=True)
        for form in ("wishes", "passphrase", "key", "browser", "token")
    ),
    way("/people", people, Right.OWN, name="people", in_person=True),
    post("/people/first", first, Right.OWN, in_person=True),
    post("/people/invite", invite, Right.OWN, in_person=True),
    post("/people/role", role, Right.OWN, in_person=True),
    post("/people/pass", take_back, Right.OWN, in_person=True),
    *(way(f"/people/{form}", people, Right.OWN, in_person=True) for form in ("invite", "role", "pass")),
    way("/share", share, Right.KEEP, in_person=True),
    post("/share", share_it, Right.KEEP, in_person=True),
    way("/shared/{secret}", shared, Right.OPEN),
]
