"""Labels to stick on tanks, machines, probes and test kits: a QR code that opens the right form, name, address."""

from __future__ import annotations

import functools
import ipaddress
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from urllib.parse import quote, urlsplit

from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.quantities import QUANTITIES
from leadline.measures.words import N_, _
from leadline.present import sentences
from leadline.system.description import System

KINDS = ("vessel", "equipment", "probe", "instrument")
QUIET = 4  # modules of white around a code (ISO/IEC 18004)
_HOST = re.compile(r"(?!-)[a-z0-9_-]{1,63}(?<!-)(\.(?!-)[a-z0-9_-]{1,63}(?<!-))*")
_TYPES = {"topoff": N_("Top-off"), "uv": "UV", "ups": N_("Battery supply")}
_WORDS = re.compile(r"[^a-z0-9]+")


@dataclass(frozen=True, slots=True)
class Thing:
    """Something that a label can be stuck on.

    Attributes
    ----------
    kind
        One of KINDS.
    id
        As it stands in the label's address, unique within its kind.
    name, detail
        What is printed of it.
    quantity, method
        Of a probe or an instrument: what it measures; of an instrument: the method's own name.
    """

    kind: str
    id: str
    name: str
    detail: str
    quantity: str = ""
    method: str = ""

    @property
    def key(self) -> str:
        """Kind and id in one word."""
        return f"{self.kind}:{self.id}"


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet of labels, by size."""

    id: str
    said: str
    columns: int
    rows: int


# Sizes that are sold by many on A4 and on Letter; how many fit follows from the size. The lengths stand in labels.css.
SHEETS = (
    Sheet("a4-63x34", "63 × 34 mm, 24 on A4", 3, 8), Sheet("a4-70x37", "70 × 37 mm, 24 on A4", 3, 8),
    Sheet("a4-99x38", "99 × 38 mm, 14 on A4", 2, 7), Sheet("a4-38x21", "38 × 21 mm, 65 on A4", 5, 13),
    Sheet("letter-67x25", "67 × 25 mm, 30 on Letter", 3, 10), Sheet("grid", "Plain grid to cut, 90 × 45 mm", 2, 6),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Label:
    """One label as it is printed; `code` is SVG."""

    thing: Thing
    system: str
    address: str
    code: str

    @property
    def printed(self) -> str:
        """The address as it is printed: without its scheme, which nobody types."""
        return self.address.partition("://")[2]


def things(system: System) -> list[Thing]:
    """Everything of a system that can carry a label: vessels, machines, probes, instruments (its methods)."""
    found = [Thing("vessel", v.id, _named(v.id), _("Vessel")) for v in system.vessels]
    if not found:  # no vessel is described: the water itself can still be written of
        found.append(Thing("vessel", system.id, system.name, _("All of its water")))
    found += [Thing("equipment", e.id, _named(e.id), _(_TYPES.get(e.type, _capital(e.type)))) for e in system.equipment]
    machines = {x for e in system.equipment for x in (e.id, e.stream) if x}
    for s in system.streams:
        if s.id not in machines and s.quantity in QUANTITIES:
            where = s.vessel or ("room" if s.room else "")
            detail = _("Probe in the {vessel}").format(vessel=_said(where)) if where else _("Probe")
            found.append(Thing("probe", s.id, _named(s.id), detail, s.quantity))
    taken: set[str] = set()
    for m in system.methods:
        ident = _slug(f"{m.quantity} {m.name}")
        number = 2
        while ident in taken:
            ident, number = f"{_slug(f'{m.quantity} {m.name}')}-{number}", number + 1
        taken.add(ident)
        found.append(Thing("instrument", ident, sentences.titled(m.quantity), _capital(m.name), m.quantity, m.name))
    return found


def thing(system: System, kind: str, ident: str) -> Thing:
    """The one thing of that kind and id.

    Raises
    ------
    UnknownName
        With near names, or all there are.
    """
    if kind not in KINDS:
        raise UnknownName("kind of thing", kind[:60], KINDS)
    mine = [t for t in things(system) if t.kind == kind]
    for t in mine:
        if t.id == ident:
            return t
    way_out = "" if mine else f"{system.name} has none: its description names them."
    raise UnknownName(f"{kind} of {system.name}", ident[:60], [t.id for t in mine], way_out=way_out)


def chosen(system: System, only: Iterable[str]) -> list[Thing]:
    """Some things of a system, in the order of `things`: by `kind`, by `kind:id` or by id.

    Raises
    ------
    UnknownName
        When a word names none of them.
    """
    every = things(system)
    picked: set[str] = set()
    for word in only:
        mine = {t.key for t in every if word in (t.kind, t.id, t.key)}
        if not mine:
            raise UnknownName("thing to label", word[:60], {x for t in every for x in (t.kind, t.id, t.key)})
        picked |= mine
    return [t for t in every if t.key in picked]


def sheet(ident: str) -> Sheet:
    """A sheet by its id.

    Raises
    ------
    UnknownName
        When there is none.
    """
    found = next((s for s in SHEETS if s.id == ident), None)
    if found is None:
        raise UnknownName("size of labels", ident[:60], [s.id for s in SHEETS])
    return found


def base(typed: str) -> str:
    """The address under which the pages are reached: `http(s)://host[:port]`, nothing behind it.

    Raises
    ------
    BadInput
        When it is anything else.
    """
    way_out = "Write it like http://192.168.1.20:8077 or https://reef.home.example."
    text = typed.strip().rstrip("/")
    if not text.isprintable() or " " in text:  # a parser would leave a line's end out
        raise BadInput(f"{typed[:80]!r} is no address", way_out=way_out)
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError as exc:
        raise BadInput(f"{typed[:80]!r} is no address", way_out=way_out) from exc
    host = (parts.hostname or "").lower()
    if parts.scheme not in ("http", "https") or not host:
        raise BadInput(f"{typed[:80]!r} is no web address", way_out=way_out)
    if (
        parts.path
        or parts.query
        or parts.fragment
        or "@" in parts.netloc
        or port == 0
        or text.endswith(("?", "#", ":"))
    ):
        raise BadInput(f"{typed[:80]!r} holds more than a host and a port", way_out=way_out)
    if ":" in host:
        try:
            host = f"[{ipaddress.IPv6Address(host)}]"
        except ValueError as exc:
            raise BadInput(f"{typed[:80]!r} names no host", way_out=way_out) from exc
    elif len(host) > 253 or not _HOST.fullmatch(host) or (host.replace(".", "").isdigit() and not _is_ipv4(host)):
        raise BadInput(f"{typed[:80]!r} names no host", way_out=way_out)
    return f"{parts.scheme}://{host}{'' if port is None else f':{port}'}"


def _is_ipv4(host: str) -> bool:
    try:
        ipaddress.IPv4Address(host)
    except ValueError:
        return False
    return True


def only_here(address: str) -> bool:
    """Whether an address leads nowhere but to the machine that asks: a phone can't reach it."""
    host = urlsplit(address).hostname or ""
    if host == "localhost" or host.endswith(".localhost"):
        return True
    try:
        found = ipaddress.ip_address(host)
    except ValueError:
        return False
    return found.is_loopback or found.is_unspecified


def address(at: str, system: str, what: Thing) -> str:
    """Where a label leads; `at` is a `base`."""
    return f"{at}/at/{system}/{what.kind}/{quote(what.id, safe='')}"


def labels(system: System, at: str, which: Iterable[Thing]) -> list[Label]:
    """The labels of some things."""
    return [Label(t, system.name, address(at, system.id, t), code(address(at, system.id, t))) for t in which]


def sheets(made: Sequence[Label], on: Sheet, skip: int = 0) -> list[list[Label | None]]:
    """Labels over as many sheets as they need; the first `skip` places, and those left over, are None."""
    each = on.columns * on.rows
    places: list[Label | None] = [*[None] * (skip % each), *made]
    pages = math.ceil(len(places) / each) if made else 0
    return [places[n * each : (n + 1) * each] for n in range(pages)]


@functools.lru_cache(maxsize=512)  # a code takes some milliseconds, and a sheet holds dozens
def code(text: str, alone: bool = False, title: str = "") -> str:
    """A QR code (ISO/IEC 18004, error level M) as SVG: dark on white, its quiet zone within.

    Parameters
    ----------
    alone
        As a file of its own rather than a part of a page.
    """
    import segno

    rows = segno.make(text, error="m", micro=False, boost_error=False).matrix
    side = len(rows) + 2 * QUIET
    path = []
    for y, row in enumerate(rows):
        x = 0
        while x < len(row):
            wide = next((n for n in range(x, len(row)) if not row[n]), len(row)) - x
            if wide:
                path.append(f"M{x + QUIET} {y + QUIET}h{wide}v1h-{wide}z")
            x += max(wide, 1)
    head = ' xmlns="http://www.w3.org/2000/svg" width="30mm" height="30mm"' if alone else ""
    said = f' role="img" aria-label="{_escaped(title or f"QR code: {text}")}"'
    white = f'<rect width="{side}" height="{side}" fill="#fff"/>'
    return (
        f'<svg{head} class="code" viewBox="0 0 {side} {side}" shape-rendering="crispEdges"{said}>'
        f'{white}<path fill="#000" d="{"".join(path)}"/></svg>'
    )


def alone(label: Label) -> str:
    """A label's code as a file of its own."""
    return (
        code(label.address, True, f"{label.thing.name}, {label.thing.detail}, {label.system}: {label.address}") + "\n"
    )


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;").replace(">", "&gt;")


def _slug(text: str) -> str:
    return _WORDS.sub("-", text.lower()).strip("-") or "method"


def _said(ident: str) -> str:
    return ident.replace("-", " ").replace("_", " ")


def _named(ident: str) -> str:
    return sentences.titled(ident) if ident in QUANTITIES else _capital(_said(ident))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
