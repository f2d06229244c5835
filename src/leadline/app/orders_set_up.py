"""Standing orders in small steps: who is called, by which ways, how long each waits; commands at the prompt."""

from __future__ import annotations

from collections.abc import Mapping

from leadline.app import stand_orders
from leadline.app.parts_of import Field, Kind, changed, parts, without
from leadline.app.ports import Store
from leadline.measures.errors import BadInput, UnknownName
from leadline.system.orders import SECRET, Orders

KINDS: dict[str, Kind] = {k.id: k for k in (
    Kind("person", "People", "person", ("id",), (
        Field("id", "Short name", "keeper"),
        Field("name", "Name", "Ada"),
        Field("paths", "Ways to reach them, in this order", "mail, push", kind="list"),
        Field("hours", "Hours for medium alarms; high and urgent ones always call", "07:00-22:30", kind="list"),
        Field("looks_after", "Systems they look after, where not all", "north-room", kind="list", more=True),
        Field("note", "Note", more=True),
    ), "Whom the watch calls. The first is called first; name a second for the night when the first does not answer."),
    Kind("path", "Ways", "way", ("id",), (
        Field("id", "Short name", "mail"),
        Field("kind", "What it is", choices=("mail", "service"), kind="choice"),
        Field("to", "Mail: to", "keeper@home.example"),
        Field("from", "Mail: from", "reef@home.example"),
        Field("server", "Mail: server", "mail.home.example:587"),
        Field("user", "Mail: user", "reef"),
        Field("tls", "Mail: protected by", choices=("", "starttls", "tls", "none"), kind="choice", more=True),
        Field("note", "Note", more=True),
    ), "Mail by your own server, or a push or message service by its address. A way counts only while it is proved."),
    Kind("watch", "This machine", "watch", (), (
        Field("time_zone", "Time zone", "Europe/Oslo"),
        Field("address", "How a phone on your network reaches these pages", "http://192.168.1.20:8077"),
    ), "Links in messages begin with this address.", single=True),
    Kind("escalation", "When nobody answers", "escalation", (), (
        Field("next_path", "Try the next way after", "5 min"),
        Field("next_person", "Call the next person after", "15 min"),
        Field("repeat", "Call again every", "15 min"),
    ), single=True),
    Kind("proof", "Proofs", "proof", (), (
        Field("every", "Every", "1 d"),
        Field("at", "At", "18:00"),
        Field("window", "To be answered within", "4 h"),
    ), "Each way is tried end to end; one that nobody answered counts as dead.", single=True),
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
            wanted = ident
            way.setdefault(_SECRET_IN[str(way["kind"])], f"{SECRET}{ident}")
            if way["kind"] == "service":
                for name in ("to", "from", "server", "user", "tls"):
                    way.pop(name, None)
        text = tomlkit.dumps(whole)
    return stand_orders.give(store, text), wanted


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
