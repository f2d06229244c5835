"""Standing orders in small steps: who is called, by which ways, how long each waits; commands at the prompt."""

from __future__ import annotations

from collections.abc import Mapping

from leadline.app import stand_orders
from leadline.app.parts_of import Field, Kind, changed, parts, said_of, without
from leadline.app.ports import Store
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.words import N_, _
from leadline.system.orders import SECRET, Orders

KINDS: dict[str, Kind] = {k.id: k for k in (
    Kind("path", N_("Ways"), N_("way"), ("id",), (
        Field("id", N_("Short name"), "mail"),
        Field("kind", N_("What it is"), choices=("mail", "service"), kind="choice"),
        Field("to", N_("Mail: to"), "keeper@home.example"),
        Field("from", N_("Mail: from"), "reef@home.example"),
        Field("server", N_("Mail: server"), "mail.home.example:587"),
        Field("user", N_("Mail: user"), "reef"),
        Field("tls", N_("Mail: protected by"), choices=("", "starttls", "tls", "none"), kind="choice", more=True),
        Field("note", N_("Note"), more=True),
    ), N_("Mail by your own server, or a push service by its address. A way counts only while it is proved.")),
    Kind("person", N_("People"), N_("person"), ("id",), (
        Field("id", N_("Short name"), "keeper"),
        Field("name", N_("Name"), "Ada"),
        Field("paths", N_("Ways to reach them, in this order"), "mail, push", kind="list"),
        Field("hours", N_("Hours for medium alarms; high and urgent ones always call"), "07:00-22:30", kind="list"),
        Field("looks_after", N_("Systems they look after, where not all"), "north-room", kind="list", more=True),
        Field("note", N_("Note"), more=True),
    ), N_("Whom the watch calls. The first is called first; name a second for when the first does not answer.")),
    Kind("watch", N_("This machine"), N_("watch"), (), (
        Field("time_zone", N_("Time zone"), "Europe/Oslo"),
        Field("address", N_("How a phone on your network reaches these pages"), "http://192.168.1.20:8077"),
    ), N_("Links in messages begin with this address."), single=True),
    Kind("escalation", N_("When nobody answers"), N_("escalation"), (), (
        Field("next_path", N_("Try the next way after"), "5 min"),
        Field("next_person", N_("Call the next person after"), "15 min"),
        Field("repeat", N_("Call again every"), "15 min"),
    ), single=True),
    Kind("proof", N_("Proofs"), N_("proof"), (), (
        Field("every", N_("Every"), "1 d"),
        Field("at", N_("At"), "18:00"),
        Field("window", N_("To be answered within"), "4 h"),
    ), N_("Each way is tried end to end; one that nobody answered counts as dead."), single=True),
)}  # fmt: skip
_SECRET_IN = {"mail": "password", "service": "address"}


def kind_of(name: str) -> Kind:
    """That kind of part.

    Raises
    ------
    UnknownName
    """
    found = KINDS.get(name)
    if found is None:
        raise UnknownName("part of the orders", name[:40], KINDS)
    return found


def shown(store: Store, kind: str) -> list[dict[str, str]]:
    """The parts of a kind as they stand; no secret stands there, only the names of secrets."""
    return parts(stand_orders.document(store), kind_of(kind).id)


def put(store: Store, kind: str, key: str, said: Mapping[str, str]) -> tuple[Orders, str]:
    """Add or change a part of the orders; the name of the secret that a new way needs comes with it, else empty.

    A running watch takes it up within a few seconds; what was proved otherwise counts no more.

    Raises
    ------
    BadInput
        With what would mend it; nothing is changed.
    """
    import tomlkit

    text = changed(stand_orders.document(store), kind_of(kind), key, said)
    wanted = ""
    if kind == "path":
        whole = tomlkit.parse(text)
        ident = said.get("id", "") or key
        for way in whole.get("path", []):
            if str(way.get("id", "")) != ident:
                continue
            if str(way.get("kind", "")) not in _SECRET_IN:
                raise BadInput(
                    "a way that starts a command is changed at the prompt", way_out="leadline watch orders FILE"
                )
            own = str(way["kind"])
            lent = [way.pop(field, None) for other, field in _SECRET_IN.items() if other != own]
            # the password of a mailbox is no address of a service: it gets a name of its own
            secret = way.setdefault(_SECRET_IN[own], f"{SECRET}{ident}-{own}" if any(lent) else f"{SECRET}{ident}")
            wanted = str(secret).removeprefix(SECRET)
            if way["kind"] == "service":
                for name in ("to", "from", "server", "user", "tls"):
                    way.pop(name, None)
        text = tomlkit.dumps(whole)
    try:
        return stand_orders.give(store, text), wanted
    except UnknownName as exc:
        if kind != "person" or not exc.what.startswith("unknown path"):
            raise said_of(kind_of(kind), exc, said.get("id") or key) from exc
        raise BadInput(
            _("there is no way {name} yet").format(name=exc.name), way_out=_("Add it under Ways first.")
        ) from exc
    except BadInput as exc:
        raise said_of(kind_of(kind), exc, said.get("id") or key) from exc


def drop(store: Store, kind: str, key: str) -> Orders:
    """Take a part out.

    Raises
    ------
    BadInput
        When a person still needs the way, or there is none of that name.
    """
    orders = stand_orders.standing(store)
    if kind == "path":
        needs = [p.name for p in orders.people if key in p.paths]
        if needs:
            raise BadInput(f"{', '.join(needs)} is called by {key}", way_out="Give them another way first.")
    return stand_orders.give(store, without(stand_orders.document(store), kind_of(kind), key))
