"""The journal, as asked by programs: search, one entry, log, correct, take back, confirm."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

import msgspec

from leadline.app import read_journal, record
from leadline.app.answers import journal as said
from leadline.journal.entry import KINDS, Entry
from leadline.measures.errors import BadInput, UnknownName
from leadline.web.api import shapes
from leadline.web.api.operation import Answered, Call, Example, Operation, Refusal, When
from leadline.web.ways import Right

_TOPIC = "Journal"
_KEPT_BY = ("arrival", "transfer", "treatment")  # what changes who lives where takes the right to keep
_OURS = ("corrects", "withdrawn", "confirms")  # marks that correct, withdraw and confirm set
_USED = {409: "The mark was sent with another entry before."}
_ENTRY = Example({"entry": "5f1d3c9a8b7e6d21"})
KEY = {"Idempotency-Key": "A mark of your own: the same sent twice is one entry."}
_KINDS = msgspec.Meta(extra_json_schema={"enum": list(KINDS)})
_SHORT, _LONG = msgspec.Meta(max_length=400), msgspec.Meta(max_length=2000)


class Search(msgspec.Struct, kw_only=True):
    """What to look for."""

    system: Annotated[str, msgspec.Meta(description="Of this system alone.")] = ""
    kind: Annotated[str, msgspec.Meta(description=f"Of this kind alone: {', '.join(KINDS)}.")] = ""
    q: Annotated[str, msgspec.Meta(max_length=120, description="Words that all stand in the entry.")] = ""
    before: When = ""
    most: Annotated[int, msgspec.Meta(ge=1, le=500, description="So many entries.")] = 50
    as_of: When = ""


class AsOf(msgspec.Struct, kw_only=True):
    """As of which moment to answer."""

    as_of: When = ""


class NewEntry(msgspec.Struct, kw_only=True, forbid_unknown_fields=True, rename={"source": "from"}):
    """One entry, in the words of the journal's CSV. Without `time` it is of now.

    A reading below what its kit can show says so in `extra`: `{"below_detection": true}`, its value being that limit.
    """

    system: Annotated[str, _SHORT]
    kind: Annotated[str, _KINDS]
    subject: Annotated[str, _SHORT] = ""
    value: float | None = None
    unit: Annotated[str, _SHORT] = ""
    method: Annotated[str, _SHORT] = ""
    sd: float | None = None
    to: Annotated[str, _SHORT] = ""
    source: Annotated[str, _SHORT] = ""
    time: When = ""
    note: Annotated[str, _LONG] = ""
    extra: dict[str, Any] = {}
    token: Annotated[str, msgspec.Meta(max_length=200, description="As the header Idempotency-Key.")] = ""


class Correction(msgspec.Struct, kw_only=True, forbid_unknown_fields=True):
    """What the amount should have been; the unit of the entry when none is said."""

    value: float
    unit: Annotated[str, _SHORT] = ""


class Nothing(msgspec.Struct, kw_only=True, forbid_unknown_fields=True):
    """Nothing more needs to be said: send {}."""


def _found(call: Call) -> Any:
    q, systems = call.query, call.store.systems()
    if q.system and q.system not in systems:
        raise UnknownName("system", q.system, systems)
    if q.kind and q.kind not in KINDS:
        raise UnknownName("kind of entry", q.kind, KINDS)
    now = call.as_of(q.system) or call.clock.now()
    before = call.moment(q.before, q.system)
    return said.page(
        read_journal.entries(call.store, now, system=q.system, kind=q.kind, words=q.q, before=before, most=q.most)
    )


def _one(call: Call) -> Any:
    now = call.as_of() or call.clock.now()
    found = read_journal.whole(call.store, now, call.path["entry"])
    return said.whole(found, [a for a in call.store.attachments(x.id for x in found.line) if a.added_at <= now])


def _log(call: Call) -> Answered:
    b: NewEntry = call.body
    if b.kind in _KEPT_BY:
        call.need(Right.KEEP, f"To log a {b.kind} takes the right to keep livestock.")
    if b.system not in call.store.systems():
        raise UnknownName("system", b.system, call.store.systems())
    for mark in _OURS:
        if mark in b.extra:
            raise BadInput(f"extra.{mark} is not set by hand", way_out="POST to the entry's own address does it.")
    token = mark_of(call) or (b.token and f"api {b.token}")
    done = record.log(
        call.store, call.clock, system=b.system, kind=b.kind, subject=b.subject, value_text=_text(b.value),
        unit=b.unit, method=b.method, time=b.time or None, note=b.note, extra=b.extra, token=token,
        sd_text=_text(b.sd), to=b.to, source=b.source,
    )  # fmt: skip
    e = done.entry
    if done.again and token and (e.system, e.kind, e.value) != (b.system, b.kind, b.value):
        raise sent_before(e)
    return Answered(said.logged(done), 200 if done.again else 201, {"location": f"/api/journal/{e.id}"})


def _text(value: float | None) -> str:
    return "" if value is None else repr(value)


def _entry(call: Call) -> str:
    ident = call.path["entry"]
    if call.store.entry(ident) is None:
        raise UnknownName("entry", ident[:60], (), way_out="GET /api/journal finds entries.")
    return ident


def mark_of(call: Call) -> str:
    """The mark of the header Idempotency-Key, apart from those of pages; nothing when there is none."""
    key = call.request.headers.get("idempotency-key")
    if key is not None and not 1 <= len(key) <= 200:
        raise BadInput(f"an Idempotency-Key of {len(key)} characters", way_out="It has from 1 to 200.")
    return f"api {key}" if key else ""


def sent_before(e: Entry) -> Refusal:
    """That a mark was used for something else."""
    return Refusal(409, f"That mark was sent with another entry before: {e.id}. Take a new one for a new entry.")


def made_once(call: Call, make: Callable[[], Entry], same: Callable[[Entry], bool]) -> Answered:
    """Make an entry once for each mark; one whose mark made something else is refused."""
    e, again = record.once(call.store, mark_of(call), make)
    if again and not same(e):
        raise sent_before(e)
    return Answered(said.entry(e), 200 if again else 201, {"location": f"/api/journal/{e.id}"})


def _correct(call: Call) -> Answered:
    ident, value, unit = _entry(call), call.body.value, call.body.unit
    return made_once(
        call, lambda: record.correct(call.store, call.clock, ident, repr(value), unit),
        lambda e: e.corrects == ident and not e.withdrawn and e.value == value,
    )  # fmt: skip


def _withdraw(call: Call) -> Answered:
    ident = _entry(call)
    return made_once(
        call, lambda: record.withdraw(call.store, call.clock, ident), lambda e: e.corrects == ident and e.withdrawn
    )


def _confirm(call: Call) -> Answered:
    ident = _entry(call)
    return made_once(
        call, lambda: record.confirm(call.store, call.clock, ident), lambda e: e.extra.get("confirms") == ident
    )


OPERATIONS = [
    Operation(
        id="search_journal", prompt="journal",
        method="GET", path="/api/journal", right=Right.VIEW, topic=_TOPIC, run=_found,
        says="Read and search what was written, the newest first.", query=Search, answer=(shapes.JournalPage,),
        example=Example(query={"kind": "exchange", "most": 5}),
        tells="Entries of one moment stand on one page, which may then hold more than `most`.",
    ),
    Operation(
        id="log_entry", prompt="log",
        method="POST", path="/api/journal", right=Right.LOG, topic=_TOPIC, run=_log, status=201,
        says="Log one entry.", body=NewEntry, answer=(shapes.Logged,), also=(200,), headers=KEY,
        refuses=_USED,
        example=Example(
            body={"system": "great-reef", "kind": "reading", "subject": "alkalinity", "value": 8.1, "unit": "dKH"},
            headers={"Idempotency-Key": "a-mark-of-your-own"},
        ),
        tells="An entry that was there already is answered with 200. Arrivals, transfers and treatments take the "
              "right KEEP.",
    ),
    Operation(
        id="show_entry", prompt="entry show",
        method="GET", path="/api/journal/{entry}", right=Right.VIEW, topic=_TOPIC, run=_one,
        says="Show one entry and what became of it.", query=AsOf, answer=(shapes.Whole,), example=_ENTRY,
    ),
    Operation(
        id="correct_entry", prompt="entry correct",
        method="POST", path="/api/journal/{entry}/correct", right=Right.LOG, topic=_TOPIC,
        run=_correct, status=201, says="Say what an entry's amount should have been; both are kept.", body=Correction,
        answer=(shapes.Entry,), also=(200,), headers=KEY, refuses=_USED,
        example=Example(_ENTRY.path, body={"value": 8.1, "unit": "dKH"}),
    ),
    Operation(
        id="withdraw_entry", prompt="entry withdraw",
        method="POST", path="/api/journal/{entry}/withdraw", right=Right.LOG, topic=_TOPIC,
        run=_withdraw, status=201, says="Take an entry back; it stays in the journal as withdrawn.", body=Nothing,
        answer=(shapes.Entry,), also=(200,), headers=KEY, refuses=_USED,
        example=Example(_ENTRY.path, body={}),
    ),
    Operation(
        id="confirm_entry", prompt="entry confirm",
        method="POST", path="/api/journal/{entry}/confirm", right=Right.LOG, topic=_TOPIC,
        run=_confirm, status=201, says="Say that an entry is right as typed; nobody asks again.", body=Nothing,
        answer=(shapes.Entry,), also=(200,), headers=KEY, refuses=_USED,
        example=Example(_ENTRY.path, body={}),
    ),
]  # fmt: skip
