"""What the app needs from the outside world: a Store, feeds and couriers, and a Clock (see `measures.moments`)."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

from leadline.journal.entry import Entry
from leadline.measures.errors import LeadlineError
from leadline.measures.moments import Clock

if TYPE_CHECKING:
    import numpy as np

    from leadline.alarms.delivery import Delivery, Message, Stage
    from leadline.alarms.raised import Happened, Raised


@dataclass(frozen=True, slots=True)
class Added:
    """What an import or an entry did."""

    new: int
    already_there: int


@dataclass(frozen=True, slots=True)
class Parked:
    """A row with an impossible time, kept for the keeper to judge."""

    id: int
    file: str
    line: int
    reason: str
    row: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Points:
    """Part of one stream, in time order. Times in Unix seconds, QARTOD flags beside the values."""

    times_s: np.ndarray
    values: np.ndarray
    flags: np.ndarray


@dataclass(frozen=True, slots=True)
class Rollup:
    """Buckets of a stream: start [Unix s], count, least, greatest, sum. Extremes are never lost."""

    start_s: np.ndarray
    n: np.ndarray
    least: np.ndarray
    greatest: np.ndarray
    total: np.ndarray


@dataclass(frozen=True, slots=True)
class Contents:
    """What a store's file holds, counted by reading all of it back."""

    path: str
    systems: int
    entries: int
    points: int
    newest: dt.datetime | None  # time of the latest entry
    set_aside: str = ""  # after a restore: where the file is that stood there before
    files: int = 0  # photographs and files of entries, each of which is still what its id says


@dataclass(frozen=True, slots=True)
class Held:
    """Something that came in and can't be used as it stands: when [Unix s], by which feed, as it was, and why."""

    at_s: float
    feed: str
    system: str
    stream: str
    words: str
    why: str


@dataclass(frozen=True, slots=True)
class Photo:
    """A photograph of an animal or a group, without its bytes.

    Attributes
    ----------
    id
        16 hex digits, BLAKE2b of the bytes: the same picture has the same id wherever it is kept.
    subject
        The animal's or group's id.
    taken_at, added_at
        When it was taken, as well as that is known, and when it was kept here.
    media_type
        Of the bytes, such as image/jpeg.
    width, height
        As it is seen, turned upright. [px]
    """

    id: str
    system: str
    subject: str
    taken_at: dt.datetime
    added_at: dt.datetime
    media_type: str
    width: int
    height: int
    note: str


@dataclass(frozen=True, slots=True)
class Account:
    """Somebody who may come in; `wishes` are what their pages should be like (`units`, `language`, `decimal`)."""

    id: str
    name: str
    role: str  # owner | keeper | sitter | reader
    hash: str  # argon2id of the passphrase; empty where passkeys alone open it
    made_at: dt.datetime
    closed_at: dt.datetime | None = None
    wishes: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Passkey:
    """The public half of a key that a device keeps; `id` is the credential's, base64url."""

    id: str
    account: str
    public_key: bytes
    uses: int
    name: str
    made_at: dt.datetime
    used_at: dt.datetime | None = None


@dataclass(frozen=True, slots=True)
class Session:
    """A browser that is signed in; `digest` is SHA-256 of its secret, `words` what the browser calls itself."""

    digest: str
    account: str
    made_at: dt.datetime
    seen_at: dt.datetime
    ends_at: dt.datetime
    words: str


@dataclass(frozen=True, slots=True)
class Pass:
    """Something that opens by being known: an invitation, a shared page (`target`), a program's token."""

    digest: str
    kind: str  # invitation | share | program
    account: str
    name: str
    target: str
    made_at: dt.datetime
    ends_at: dt.datetime | None = None
    used_at: dt.datetime | None = None


@dataclass(frozen=True, slots=True)
class DoorEvent:
    """Something that happened at the door, to whom, from which address."""

    at: dt.datetime
    what: str
    account: str
    origin: str


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file kept with an entry of the journal, without its bytes.

    Attributes
    ----------
    id
        16 hex digits, BLAKE2b of the bytes: the same file has the same id wherever it is kept.
    entry
        Id of the entry.
    name
        As it was given, made fit to be shown and to be a file's name.
    media_type
        What the bytes are, whatever they were said to be.
    size
        Of the bytes as kept. [byte]
    """

    id: str
    entry: str
    name: str
    media_type: str
    size: int
    added_at: dt.datetime
    note: str

    @property
    def picture(self) -> bool:
        """Whether it is a photograph, of which there is a small one too."""
        return self.media_type.startswith("image/")


class Store(Protocol):
    """Where everything is kept. Every write is one transaction; what returned is on disk."""

    # several writes as one transaction: `with store.together(): ...`
    writable: bool

    def together(self) -> AbstractContextManager[None]: ...

    # systems: the document is the contract's TOML, kept as it was given; every version is kept
    def save_system(self, system: str, document: str, at: dt.datetime) -> None: ...
    def systems(self) -> list[str]: ...
    def system_document(self, system: str, as_of: dt.datetime | None = None) -> str | None: ...

    def system_versions(self, system: str) -> list[tuple[dt.datetime, str]]: ...

    # the journal: append-only, in order of entry (`seq`)
    def add_entries(self, entries: Iterable[Entry]) -> Added: ...
    def entries(
        self, system: str | None = None, after_seq: int = 0, kinds: Sequence[str] | None = None
    ) -> list[Entry]: ...
    def entry(self, id: str) -> Entry | None: ...
    def last_seq(self, system: str) -> int: ...

    # rows for the keeper to judge
    def park(self, rows: Iterable[Parked]) -> int: ...
    def parked(self) -> list[Parked]: ...
    def unpark(self, id: int) -> None: ...

    # small named records: import mappings, adopted subjects, settings
    def put_record(self, kind: str, name: str, value: Any) -> None: ...
    def record(self, kind: str, name: str) -> Any | None: ...
    def records(self, kind: str) -> dict[str, Any]: ...

    # streams
    def declare_stream(self, system: str, stream: str, *, resolution: float | None = None) -> None: ...
    def streams(self, system: str | None = None) -> list[tuple[str, str]]: ...
    def add_points(
        self,
        system: str,
        stream: str,
        times_s: Sequence[float] | np.ndarray,
        values: Sequence[float] | np.ndarray,
        flags: Sequence[int] | np.ndarray | None = None,
    ) -> Added: ...
    def points(self, system: str, stream: str, start_s: float, end_s: float) -> Points: ...
    def rollup(self, system: str, stream: str, start_s: float, end_s: float, bucket: str) -> Rollup: ...
    def latest_point(self, system: str, stream: str, before_s: float | None = None) -> tuple[float, float] | None: ...
    def medians(self, system: str, stream: str, start_s: float, end_s: float, every_s: float = 600.0) -> Points: ...
    def stream_revision(self, system: str) -> int: ...
    def pack(self, before_s: float) -> int: ...

    # what can be worked out again, kept to answer fast; losing it loses nothing
    def keep_aside(self, name: str, key: str, content: bytes) -> None: ...
    def kept_aside(self, name: str) -> tuple[str, bytes] | None: ...

    # the watch: alarms as they stand and went
    def alarms(self, system: str | None = None) -> list[Raised]: ...
    def alarm(self, system: str, name: str) -> Raised | None: ...
    def keep_alarm(self, raised: Raised, happened: Happened | None) -> None: ...
    def alarm_events(self, begin_s: float, end_s: float, system: str | None = None) -> list[Happened]: ...

    # messages, closed only by an answer, and their deliveries, written before the first try
    def open_message(self, message: Message) -> None: ...
    def message(self, id: str) -> Message | None: ...
    def open_messages(self) -> list[Message]: ...
    def recent_messages(self, since_s: float, alarm: tuple[str, str] | None = None) -> list[Message]: ...
    def calm_message(self, id: str, at_s: float) -> None: ...
    def close_message(self, id: str, at_s: float, by: str, how: str) -> bool: ...
    def queue_delivery(self, message: str, person: str, path: str, turn: int, at_s: float) -> bool: ...
    def deliveries(self, message: str) -> list[Delivery]: ...
    def delivery(self, seq: int) -> Delivery | None: ...
    def due_deliveries(self, now_s: float) -> list[Delivery]: ...
    def claim_delivery(self, seq: int, at_s: float) -> bool: ...
    def settle_delivery(
        self, seq: int, stage: Stage, at_s: float, note: str, next_try_s: float | None = None
    ) -> None: ...
    def mark_delivery(self, seq: int, stage: Stage, at_s: float, note: str) -> None: ...
    def requeue_deliveries(self, at_s: float, before_s: float | None = None) -> int: ...
    def unspoken(self) -> list[Raised]: ...
    def clock_set_back(self, now_s: float, most_s: float) -> None: ...

    # what came in and is no point
    def hold(self, held: Sequence[Held]) -> int: ...
    def held(self, most: int = 200) -> list[Held]: ...
    def held_count(self) -> int: ...
    def release_held(self) -> int: ...
    def changes(self) -> int: ...

    # photographs: the same picture may be of several subjects; the small one is always image/jpeg
    def add_photo(self, photo: Photo, content: bytes, small: bytes) -> bool: ...
    def photos(self, system: str | None = None, subject: str | None = None) -> list[Photo]: ...
    def photo_content(self, id: str, *, small: bool = False) -> tuple[str, bytes] | None: ...
    def drop_photo(self, id: str, system: str, subject: str) -> bool: ...

    # who may come in
    def add_account(self, account: Account) -> None: ...
    def keep_account(self, account: Account) -> None: ...
    def accounts(self) -> list[Account]: ...
    def account(self, id: str) -> Account | None: ...
    def keep_passkey(self, key: Passkey) -> None: ...
    def passkeys(self, account: str | None = None) -> list[Passkey]: ...
    def drop_passkey(self, id: str, account: str) -> bool: ...
    def keep_session(self, session: Session) -> None: ...
    def session(self, digest: str) -> Session | None: ...
    def sessions(self, account: str) -> list[Session]: ...
    def end_sessions(self, account: str, keep: str = "", only: str = "") -> int: ...
    def end_old_sessions(self, now: dt.datetime) -> int: ...
    def keep_pass(self, given: Pass) -> None: ...
    def find_pass(self, digest: str) -> Pass | None: ...
    def passes(self, kind: str | None = None, account: str | None = None) -> list[Pass]: ...
    def drop_pass(self, digest: str) -> bool: ...
    def newest_seq(self) -> int: ...
    def sign_entry(self, entry: str, account: str, after: int = 0) -> None: ...
    def authors(self, entries: Sequence[str]) -> dict[str, str]: ...
    def door_happened(self, event: DoorEvent) -> None: ...
    def came_from(self, account: str, origin: str) -> bool: ...
    def door_events(self, most: int = 50) -> list[DoorEvent]: ...
    # files of entries: the same file may be kept with several; the small one is image/jpeg, and only of a picture
    def add_attachment(self, kept: Attachment, content: bytes, small: bytes | None) -> bool: ...
    def attachments(self, entries: Iterable[str]) -> list[Attachment]: ...
    def attachment_content(
        self, id: str, entry: str | None = None, *, small: bool = False
    ) -> tuple[Attachment, bytes] | None: ...
    def drop_attachment(self, id: str, entry: str) -> bool: ...

    # safety
    def size(self) -> int: ...  # bytes on disk
    def backup(self, target: str) -> Contents: ...
    def close(self) -> None: ...


class Restorer(Protocol):
    """Puts a backup in the place of a store that is not open."""

    def __call__(self, backup_path: str, target_path: str, *, clock: Clock) -> Contents: ...


# -- feeds: points in ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Arrival:
    """One point as it came in, before it is judged.

    Attributes
    ----------
    t
        Unix seconds by the sender's clock; None when it sent none: then the moment of arrival counts.
    unit
        As the sender said it; empty: the stream's declared unit.
    """

    system: str
    stream: str
    t: float | None
    v: float
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Odd:
    """Something that came in and is no point: kept as it was, with the reason, for the keeper to judge."""

    system: str
    stream: str
    text: str
    why: str


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of a batch: points on disk, points held for the keeper to judge, and why some were refused.

    `trouble` is empty when all of it is on disk or refused for good; else nothing of it is, and the sender must send
    it again.
    """

    kept: int = 0
    held: int = 0
    refused: tuple[str, ...] = ()
    trouble: str = ""
    why_held: tuple[str, ...] = ()


class Intake(Protocol):
    """Where feeds hand over what came in. Called from any thread."""

    def offer(
        self, feed: str, points: Sequence[Arrival], odd: Sequence[Odd] = (), done: Callable[[Taken], None] | None = None
    ) -> bool:
        """Hand over a batch; False, and nothing is taken, when too much waits already: try again in a moment.

        `done` is called once, from another thread, when the batch is on disk (or can never be): acknowledge then.
        """

    def report(self, feed: str, ok: bool, words: str) -> None:
        """Say that the feed is connected (or reads its file, or was answered), or that it isn't, and why."""


class Feed(Protocol):
    """One way in. It runs in threads of its own between `start` and `stop`."""

    def start(self) -> None: ...
    def stop(self) -> None: ...


# -- couriers: messages out ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Outgoing:
    """A message to one person by one path.

    Attributes
    ----------
    id
        The same in every duplicate of it.
    link, code
        Where a tap acknowledges, and what a reply must carry to do the same; either may be empty.
    """

    id: str
    priority: str
    subject: str
    text: str
    link: str = ""
    code: str = ""


@dataclass(frozen=True, slots=True)
class Receipt:
    """What a courier got for a message: `handed-over` to a server, or `delivered` to the end of the path."""

    state: str
    note: str = ""


class Undelivered(LeadlineError):
    """A courier could not hand a message over; `permanent` when trying again is of no use."""

    exit_code = 3

    def __init__(self, what: str, *, permanent: bool, where: str = "", way_out: str = "") -> None:
        super().__init__(what, where=where, way_out=way_out)
        self.permanent = permanent


class Courier(Protocol):
    """One way out. `send` may take up to a minute, in a thread of its own; it raises Undelivered."""

    def send(self, message: Outgoing) -> Receipt: ...
