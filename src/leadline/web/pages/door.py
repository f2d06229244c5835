"""The door: sign in, sign out, take up an invitation, with a passphrase or with a passkey."""

from __future__ import annotations

import json
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from leadline.app import accounts, passkeys
from leadline.app.ports import Account
from leadline.measures.errors import BadInput
from leadline.measures.words import N_, _
from leadline.web import doors
from leadline.web.pages.round import page, plain_word
from leadline.web.pages.typed import text
from leadline.web.ways import Right, post, way

WRONG = N_("That name and passphrase do not open an account here.")
SLOWLY = N_("Too many tries. Wait a minute, then try again.")


async def sign_in(request: Request) -> Response:
    """`GET /sign-in`: the form; whoever is signed in goes on at once."""
    to = doors.inside(request.query_params.get("to", "/"))
    who = request.app.state.doors.who(request)
    if not request.app.state.doors.kept or (who is not None and who.account):
        return RedirectResponse(to, 303)
    if accounts.nobody_yet(request.app.state.store):
        return page(request, "first.html", {"title": _("First start"), "tabs": [], "view": "door"})
    return _form(request, to)


def _form(request: Request, to: str, error: str = "", name: str = "", status: int = 200) -> Response:
    return page(request, "sign-in.html", {
        "title": _("Sign in"), "tabs": [], "view": "door", "to": to, "error": error, "name": name,
        "passkeys": bool(request.app.state.store.passkeys()),
    }, status)  # fmt: skip


async def signed_in(request: Request) -> Response:
    """A name and a passphrase."""
    form = await request.form()
    state, where = request.app.state, doors.address_of(request)
    to, name = doors.inside(text(form, "to", 600) or "/"), text(form, "name", 80)
    given = form.get("passphrase", "")
    passphrase = given if isinstance(given, str) else ""
    account = _by_name(state.store, name)
    who = f"account {account.id if account else name.casefold()}"
    here = doors.pace_of(request)
    if not state.sign_ins.may(here):  # counted before it is weighed, or a hundred at once would all be weighed
        return _form(request, to, _(SLOWLY), name, 429)
    # whoever tries from many addresses is slowed down; the account's own people, where they came in before, are not
    if not state.account_tries.may(who) and not (account and state.store.came_from(account.id, where)):
        return _form(request, to, _(SLOWLY), name, 429)
    try:
        right = await state.weighing.weigh(accounts.opens, account, passphrase)
    except BadInput:
        return _form(request, to, _(SLOWLY), name, 429)
    if not right or account is None:
        accounts.happened(state.store, state.clock, "wrong passphrase", account.id if account else "", where)
        return _form(request, to, _(WRONG), name, 422)
    state.sign_ins.forgive(here)
    state.account_tries.forgive(who)
    account = state.store.account(account.id)  # as it is by now: it may have been closed meanwhile
    if account is None or account.closed_at is not None:
        return _form(request, to, _(WRONG), name, 422)
    return doors.let_in(RedirectResponse(to, 303), request, doors.open_for(request, account))


def _by_name(store: Any, name: str) -> Account | None:
    try:
        return accounts.named(store, name)
    except BadInput:
        return None


async def sign_out(request: Request) -> Response:
    """This browser is signed out, or all of one's browsers."""
    form = await request.form()
    state, who = request.app.state, request.app.state.doors.who(request)
    if who is not None and who.account and who.session:  # a program's token signs nobody out
        state.store.end_sessions(who.account, only="" if text(form, "all") else who.session)
        accounts.happened(state.store, state.clock, "signed out", who.account, doors.address_of(request))
    return doors.let_out(RedirectResponse("/sign-in", 303), request)


# -- invitations ---------------------------------------------------------------------------------------


async def come_in(request: Request) -> Response:
    """`GET /come-in/SECRET`: an invitation, or the first start."""
    return _invited(request)


def _invited(request: Request, error: str = "", name: str = "", status: int = 200) -> Response:
    state, secret = request.app.state, request.path_params["secret"]
    found = None if state.wrong_links.full(doors.pace_of(request)) else accounts.invitation(
        state.store, state.clock, secret
    )  # fmt: skip
    if found is None:
        state.wrong_links.may(doors.pace_of(request))
        return plain_word(request, _("This invitation was used, or is too old. Ask for another."), 404)
    return page(request, "come-in.html", {
        "title": _("Come in"), "tabs": [], "view": "door", "error": error, "name": name or found.name, "secret": secret,
        "role": found.target, "role_said": _(accounts.ROLE_SAID[found.target]), "again": bool(found.account),
        "first": accounts.nobody_yet(state.store), "least": accounts.LEAST,
    }, status)  # fmt: skip


async def came_in(request: Request) -> Response:
    """The invitation is taken up with a passphrase."""
    form = await request.form()
    state, name = request.app.state, text(form, "name", 80)
    given = form.get("passphrase", "")
    passphrase = given if isinstance(given, str) else ""
    try:
        account = await state.weighing.weigh(
            accounts.come_in, state.store, state.clock, request.path_params["secret"], name, passphrase
        )
    except BadInput as exc:
        line = exc.line()
        return _invited(request, f"{line[:1].upper()}{line[1:]}", name, 422)
    return doors.let_in(RedirectResponse("/", 303), request, doors.open_for(request, account))


# -- passkeys: a script speaks with the device, so these take and give JSON ----------------------------


async def passkey_begin(request: Request) -> Response:
    """What the device is asked to do: `in` (sign in), `join` (an invitation), `add` (to one's account)."""
    what = request.path_params["what"]
    state, place = request.app.state, doors.place_of(request)
    where = doors.pace_of(request)
    if state.sign_ins.full(where) or not state.doors.kept:
        return _words(SLOWLY, 429)
    if what == "in":
        options, challenge = passkeys.begin_opening(place)
        purpose = "in"
    elif what == "join":
        said = await _json(request)
        secret, name = str(said.get("secret", "")), str(said.get("name", ""))[:60].strip()
        found = accounts.invitation(state.store, state.clock, secret)
        if found is None or not (name or found.name):
            return _words(_("Type your name first.") if found else _("This invitation was used, or is too old."), 422)
        options, challenge = passkeys.begin_adding(place, name or found.name, f"join-{found.digest[:40]}", [])
        purpose = f"join {found.digest}"
    else:
        who = state.doors.who(request)
        if who is None or not who.session or what != "add":  # a program's token adds no passkey
            return _words(_("Sign in first."), 401)
        mine = state.store.passkeys(who.account)
        options, challenge = passkeys.begin_adding(place, who.name, who.account, mine)
        purpose = f"add {who.account}"
    state.doors.challenges.ask(challenge, purpose, where)
    return Response(options, media_type="application/json")


async def passkey_done(request: Request) -> Response:
    """What the device signed."""
    what = request.path_params["what"]
    state, place = request.app.state, doors.place_of(request)
    where, here = doors.address_of(request), doors.pace_of(request)
    if state.sign_ins.full(here) or not state.doors.kept:
        return _words(SLOWLY, 429)
    said = await _json(request)
    credential = said.get("credential")
    credential = credential if isinstance(credential, dict) else {}
    challenge = passkeys.challenge_in(credential)
    label = doors.browser_said(request.headers.get("user-agent", ""))
    challenges = state.doors.challenges
    try:
        if what == "in" and challenges.answered(challenge, "in"):
            account = passkeys.opened(state.store, state.clock, place, credential, challenge)
        elif what == "join":
            account = _joined(request, said, credential, challenge, label)
        elif what == "add":
            who = state.doors.who(request)
            if who is None or not who.session or not challenges.answered(challenge, f"add {who.account}"):
                return _words(_("That took too long. Try again."), 422)
            passkeys.added(state.store, state.clock, place, who.account, credential, challenge, label)
            return JSONResponse({"to": "/me?done=passkey"})
        else:
            return _words(_("That took too long. Try again."), 422)
    except BadInput as exc:
        state.sign_ins.may(here)
        accounts.happened(state.store, state.clock, "passkey refused", "", where)
        return _words(exc.line(), 422)
    to = doors.inside(str(said.get("to", "/"))) if what == "in" else "/"
    return doors.let_in(JSONResponse({"to": to}), request, doors.open_for(request, account))


def _joined(
    request: Request, said: dict[str, Any], credential: dict[str, Any], challenge: bytes, label: str
) -> Account:
    """An invitation taken up with a passkey alone."""
    state = request.app.state
    found = accounts.invitation(state.store, state.clock, str(said.get("secret", "")))
    if found is None or not state.doors.challenges.answered(challenge, f"join {found.digest}"):
        raise BadInput(_("this invitation was used, or is too old"), way_out=_("Ask for another."))
    with state.store.together():
        accounts.taken_up(state.store, state.clock, str(said.get("secret", "")))
        if found.account:
            account = accounts.named(state.store, found.account)
        else:
            name = str(said.get("name", ""))[:60].strip() or found.name
            account = accounts.make(state.store, state.clock, name, found.target)
        passkeys.added(state.store, state.clock, doors.place_of(request), account.id, credential, challenge, label)
    return account


async def _json(request: Request) -> dict[str, Any]:
    if not request.headers.get("content-type", "").startswith("application/json"):
        return {}
    try:
        said = json.loads(await request.body())
    except (ValueError, RecursionError):
        return {}
    return said if isinstance(said, dict) else {}


def _words(words: str, status: int) -> Response:
    return JSONResponse({"schema": "leadline.refused/1", "words": f"{words[:1].upper()}{words[1:]}"}, status)


WAYS = [
    way("/sign-in", sign_in, Right.OPEN, name="sign-in"),
    post("/sign-in", signed_in, Right.OPEN),
    post("/sign-out", sign_out, Right.OPEN),
    way("/come-in/{secret}", come_in, Right.OPEN),
    post("/come-in/{secret}", came_in, Right.OPEN),
    post("/passkey/{what}/begin", passkey_begin, Right.OPEN),
    post("/passkey/{what}/done", passkey_done, Right.OPEN),
]
