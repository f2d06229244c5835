"""Standing orders of the watch, tokens of senders, declared work, shelves: what a keeper tells the watch."""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from collections.abc import Mapping
from fnmatch import fnmatchcase
from typing import Any

from leadline.alarms import decide, works
from leadline.alarms.alarm import Event, State
from leadline.alarms.message import plain, span
from leadline.alarms.works import Work
from leadline.app import describe
from leadline.app.keep_watch import Transition, Watch
from leadline.app.path_book import ORDERS
from leadline.app.ports import Store
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import Clock
from leadline.system import orders
from leadline.system.orders import Orders

_TOKEN, _WORK = "token", "work"
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,39}$")

EXAMPLE = """# Standing orders of the watch. Secrets never stand here: leadline watch secret NAME keeps them.
[watch]
time_zone = "Europe/Oslo"
address = "http://192.168.1.20:8077"   # how a phone on the local network reaches this machine

[[path]]
id = "mail"
kind = "mail"                          # plain SMTP
to = "keeper@home.example"
from = "reef@home.example"
server = "mail.home.example:587"
user = "reef"
password = "secret:mail"

[[path]]
id = "push"
kind = "service"                       # any address that the Apprise library reads
address = "secret:push"

[[path]]
id = "bell"
kind = "command"                       # a sounder on this machine
command = ["paplay", "/usr/share/sounds/bell.wav"]

[[path]]
id = "neighbour-mail"
kind = "mail"
to = "neighbour@home.example"
from = "reef@home.example"
server = "mail.home.example:587"
user = "reef"
password = "secret:mail"

[[person]]
id = "keeper"
name = "Keeper"
paths = ["push", "bell", "mail"]       # in this order
hours = ["07:00-22:30"]                # for medium alarms; high and urgent ones always call

[[person]]
id = "neighbour"
name = "Neighbour"
paths = ["neighbour-mail"]

[escalation]
next_path = "5 min"
next_person = "15 min"
repeat = "15 min"

[proof]
every = "1 d"
at = "18:00"
window = "4 h"

[replies]                              # a reply to a mail acknowledges
server = "imap.home.example"
user = "reef"
password = "secret:mail"

[[feed]]
id = "broker"
kind = "mqtt"
server = "192.168.1.10:1883"
user = "reef"
password = "secret:broker"
"""


# -- orders --------------------------------------------------------------------------------------------


def give(store: Store, document: str) -> Orders:
    """Keep standing orders; a running watch takes them up within a few seconds.

    Raises
    ------
    BadInput
        When they can't be read.
    """
    read = orders.parse(document)
    store.put_record(*ORDERS, document)
    return read


def document(store: Store) -> str:
    """The orders as they were given; empty when none were."""
    return str(store.record(*ORDERS) or "")


def standing(store: Store) -> Orders:
    """The orders, read; empty ones when none were given."""
    said = document(store)
    return orders.parse(said) if said else Orders()


# -- tokens of senders ---------------------------------------------------------------------------------


def new_token(store: Store, clock: Clock, name: str) -> str:
    """A token with which a device may post points. It is shown once: only its hash is kept.

    Raises
    ------
    BadInput
        When the name is no id, or one of that name is there.
    """
    if not _NAME.match(name):
        raise BadInput(f"{name!r} is no name for a token", way_out="Lower-case letters, digits and hyphens.")
    if store.record(_TOKEN, name) is not None:
        raise BadInput(
            f"a token {name!r} is there", way_out=f"Take it back first: leadline watch token {name} --revoke"
        )
    token = secrets.token_urlsafe(32)
    store.put_record(_TOKEN, name, {"sha256": _hash(token), "made": clock.now().isoformat()})
    return token


def revoke_token(store: Store, name: str) -> None:
    """Take a token back."""
    if store.record(_TOKEN, name) is None:
        raise UnknownName("token", name, store.records(_TOKEN))
    store.put_record(_TOKEN, name, None)


def tokens(store: Store) -> list[str]:
    """Names of the tokens that stand."""
    return sorted(n for n, kept in store.records(_TOKEN).items() if isinstance(kept, dict))


def token_name(store: Store, token: str) -> str | None:
    """Whose token it is; None when it is nobody's. Takes the same time whichever it is."""
    given, found = _hash(token), None
    for name, kept in store.records(_TOKEN).items():
        if isinstance(kept, dict) and hmac.compare_digest(str(kept.get("sha256", "")), given):
            found = name
    return found


def _hash(token: str) -> str:
    # a token is 256 random bits: a plain hash of it cannot be guessed back, and is fast enough for every post
    return hashlib.sha256(token.encode()).hexdigest()


# -- declared work -------------------------------------------------------------------------------------


def declare(
    store: Store, clock: Clock, system: str, kind: str, *, subject: str = "", minutes: float | None = None,
    who: str = "",
) -> tuple[Work, list[Transition]]:  # fmt: skip
    """Declare work that begins now: its alarms are quiet until it ends, by itself.

    Raises
    ------
    BadInput
        For an unknown kind, a span that is too long, or work on something without saying on what.
    """
    described = describe.load(store, system)
    if kind not in works.KINDS:
        raise UnknownName("kind of work", kind, works.KINDS)
    usual, longest, patterns = works.KINDS[kind]
    if any("{subject}" in p for p in patterns):
        known = {s.id for s in described.streams} | {e.id for e in described.equipment}
        known |= {s for i, s in store.streams(system)} | {s.quantity for s in described.streams if s.quantity}
        if not subject:
            raise BadInput(f"{kind} of what?", way_out=f"leadline watch work {system} {kind} --on temperature")
        if subject not in known:
            raise UnknownName("stream or machine", subject, known)
    span_min = usual if minutes is None else minutes
    if not 0.0 < span_min <= longest:
        raise BadInput(f"{span_min:g} minutes of {kind}", way_out=f"From 1 to {longest} minutes; it ends by itself.")
    now_s = clock.now().timestamp()
    work = Work(system, kind, subject, plain(who, 60), now_s, now_s + 60.0 * span_min)
    with store.together():
        kept = [w for w in _kept(store, system) if w.end_s > now_s]
        store.put_record(_WORK, system, [_as_json(w) for w in (*kept, work)])
        turned = Watch(store).quieten(work, now_s)
    return work, turned


def end_work(store: Store, clock: Clock, system: str, kind: str = "", subject: str = "") -> int:
    """End declared work of a system now: all of it, or that of one kind (and on one subject); returns how many."""
    describe.load(store, system)
    now_s = clock.now().timestamp()
    with store.together():
        going = [w for w in _kept(store, system) if w.end_s > now_s]
        ended = [w for w in going if not kind or (w.kind == kind and w.subject == subject)]
        left = [w for w in going if w not in ended]
        store.put_record(_WORK, system, [_as_json(w) for w in left] or None)
        for r in store.alarms(system):
            by = any(w.reason == r.alarm.reason for w in ended)
            if r.state is State.SUPPRESSED and by and not any(w.quiets(r.name, now_s) for w in left):
                Watch(store).happen(r, Event.UNSUPPRESS, now_s, who="", reason="the work has ended")
    return len(ended)


def work_going_on(store: Store, system: str, now_s: float) -> list[Work]:
    """Declared work that goes on at a moment."""
    return [w for w in _kept(store, system) if w.begin_s <= now_s < w.end_s]


def _kept(store: Store, system: str) -> list[Work]:
    kept = store.record(_WORK, system)
    return [Work(**w) for w in kept] if isinstance(kept, list) else []


def _as_json(w: Work) -> dict[str, Any]:
    return {
        "system": w.system, "kind": w.kind, "subject": w.subject, "who": w.who, "begin_s": w.begin_s, "end_s": w.end_s,
    }  # fmt: skip


# -- one alarm by hand ---------------------------------------------------------------------------------


def shelve(
    store: Store, clock: Clock, system: str, name: str, *, hours: float, reason: str, who: str = ""
) -> list[Transition]:
    """Put an alarm on the shelf, with an end and a reason; it speaks again then if it still holds.

    Raises
    ------
    BadInput
        Without a reason, for too long, or for an alarm of the watch's own, which can't be shelved.
    """
    if any(fnmatchcase(name, p) for p in works.NEVER):
        raise BadInput(f"{name} can't be shelved", way_out="It says that an alarm may reach nobody: mend its cause.")
    if not plain(reason):
        raise BadInput("a shelf needs a reason", way_out='Add --reason "…": whoever looks later must know why.')
    now_s = clock.now().timestamp()
    with store.together():
        raised = _known(store, system, name)
        longest = decide.LONGEST_SHELF_S[raised.priority] / 3600.0
        left = None if raised.harm_at_s is None else 0.5 * (raised.harm_at_s - now_s) / 3600.0
        if left is not None and raised.alarm.holds and left > 0.0:
            longest = min(longest, max(left, 0.25))  # somebody must look again while there is time
        if not 0.0 < hours <= longest + 1e-9:
            raise BadInput(
                f"{hours:g} h on the shelf",
                way_out=f"This {raised.priority} alarm may lie there for {longest:.2g} h at most.",
            )
        turned = Watch(store).happen(
            raised, Event.SHELVE, now_s, who=who, until_s=now_s + 3600.0 * hours, reason=plain(reason, 200)
        )
        _close_messages(store, system, name, now_s, who, "shelved")
    return _must(turned, raised.state, "shelved")


def unshelve(store: Store, clock: Clock, system: str, name: str, *, who: str = "") -> list[Transition]:
    """Take an alarm from the shelf, or back into service; it speaks at once if it holds."""
    with store.together():
        raised = _known(store, system, name)
        event = Event.RETURN_TO_SERVICE if raised.state is State.OUT_OF_SERVICE else Event.UNSHELVE
        turned = Watch(store).happen(raised, event, clock.now().timestamp(), who=who)
    return _must(turned, raised.state, "taken back")


def remove(store: Store, clock: Clock, system: str, name: str, *, reason: str, who: str = "") -> list[Transition]:
    """Take an alarm out of service until it is put back by hand: for a probe that is no longer there.

    Raises
    ------
    BadInput
        Without a reason, or for an alarm of the watch's own.
    """
    if any(fnmatchcase(name, p) for p in works.NEVER):
        raise BadInput(f"{name} can't be taken out of service", way_out="Take the path out of the orders instead.")
    if not plain(reason):
        raise BadInput("out of service needs a reason", way_out='Add --reason "…".')
    now_s = clock.now().timestamp()
    with store.together():
        raised = _known(store, system, name)
        turned = Watch(store).happen(raised, Event.REMOVE, now_s, who=who, reason=plain(reason, 200))
        _close_messages(store, system, name, now_s, who, "out of service")
    return _must(turned, raised.state, "taken out of service")


def _close_messages(store: Store, system: str, name: str, now_s: float, who: str, how: str) -> None:
    for m in store.open_messages():
        if (m.system, m.alarm) == (system, name):
            store.close_message(m.id, now_s, who, how)


def _known(store: Store, system: str, name: str) -> Any:
    raised = store.alarm(system, name)
    if raised is None:
        known = [r.name for r in store.alarms(system)]
        raise UnknownName("alarm", name, known, where=system, way_out="" if known else "None ever was.")
    return raised


def _must(turned: list[Transition], state: State, word: str) -> list[Transition]:
    if not turned:
        raise BadInput(
            f"an alarm that is {state} can't be {word}", way_out="leadline watch alarms shows how it stands."
        )
    return turned


# -- words ---------------------------------------------------------------------------------------------


def names_of(store: Store, system: str) -> tuple[str, str, Mapping[str, str]]:
    """A system's name, its time zone and its machines' types; the watch's own for anything else."""
    try:
        found = describe.load(store, system)
    except UnknownName:
        return ("the watch" if system else "all systems"), standing(store).time_zone, {}
    return found.name, found.time_zone, {e.id: e.type for e in found.equipment}


def ends(work: Work) -> str:
    """How long work goes on, in words."""
    return span(work.end_s - work.begin_s)
