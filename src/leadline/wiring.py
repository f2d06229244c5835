"""Which real parts this run uses: the store's place, the clock."""

from __future__ import annotations

import datetime as dt
import os
import pathlib
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from leadline.measures.errors import BadInput, Unreachable

if TYPE_CHECKING:
    from leadline.app.be_heard import Signals
    from leadline.app.parts import Parts
    from leadline.app.ports import Courier, Feed, Intake, Store
    from leadline.measures.moments import Clock
    from leadline.store.sqlite import SqliteStore
    from leadline.system.orders import Feed as FeedOrder
    from leadline.system.orders import Path


class SystemClock:
    """The machine's own clock."""

    def now(self) -> dt.datetime:
        return dt.datetime.now(dt.UTC)  # noqa: TID251 - the one place that may ask


def store_path(given: str | None = None) -> str:
    """Path of the store: as given, from LEADLINE_DB, or one file in the platform's data folder."""
    path = given or os.environ.get("LEADLINE_DB", "")
    if "://" in path:
        raise BadInput(f"{path.split('://')[0]}:// stores are not served yet", way_out="Give the path of a file.")
    if path:
        return path
    import platformdirs

    return str(pathlib.Path(platformdirs.user_data_dir("leadline", appauthor=False)) / "leadline.db")


def compiled_folder() -> pathlib.Path:
    """Where compiled code is kept: LEADLINE_CACHE, else the platform's cache folder. Losing it costs ten seconds."""
    given = os.environ.get("LEADLINE_CACHE", "")
    if given:
        return pathlib.Path(given)
    import platformdirs

    return pathlib.Path(platformdirs.user_cache_dir("leadline", appauthor=False))


def open_store(path: str, clock: SystemClock | None = None, *, create: bool = True, write: bool = True) -> SqliteStore:
    """Open the store; its default folder is made when it is missing. One that is read-only is opened for reading.

    Raises
    ------
    Unreachable
        When it cannot be opened.
    """
    from leadline.store.file import allowed
    from leadline.store.sqlite import SqliteStore

    folder = pathlib.Path(path).parent
    if create and write and not folder.exists():
        try:
            folder.mkdir(parents=True)
        except OSError as exc:
            raise Unreachable(
                f"cannot make the folder {folder}: {exc.strerror}", way_out="Choose another with --db PATH."
            ) from exc
    place = pathlib.Path(path)
    if write and place.is_file() and not (allowed(place, os.W_OK) and allowed(folder, os.W_OK)):
        write = False  # it can still be read; whoever writes is told
    return SqliteStore.open(path, clock=clock or SystemClock(), create=create, write=write)


class _Given:
    """Secrets as the orders refer to them; those that nobody gave are noted."""

    def __init__(self, path: str) -> None:
        from leadline.store.secrets import Secrets

        self.file = Secrets.beside(path)
        self.missing: list[str] = []

    def plain(self, reference: str) -> str | None:
        """What a reference stands for; None when nobody gave it."""
        from leadline.system.orders import SECRET

        if not reference.startswith(SECRET):
            return reference
        name = reference.removeprefix(SECRET)
        found = self.file.get(name)
        if found is None:
            self.missing.append(name)
        return found

    def of(self, thing: object) -> str | None:
        """The one secret of a path or feed; empty when it needs none."""
        return self.plain(str(getattr(thing, "password", "") or getattr(thing, "token", "") or _hidden(thing)))

    def print_of(self, thing: object) -> str:
        """A fingerprint of a path as it is set up, its secret included, that gives neither away."""
        import hashlib
        import hmac

        return hmac.new(self.file.key(), repr((thing, self.of(thing))).encode(), hashlib.sha256).hexdigest()[:24]


def _hidden(thing: object) -> str:
    from leadline.system.orders import SECRET

    address = str(getattr(thing, "address", ""))
    return address if address.startswith(SECRET) else ""


def make_signals(store: Store, path: str) -> Signals:
    """The way from alarms to people and back over a store, with the orders that stand in it."""
    import functools

    from leadline.app import stand_orders
    from leadline.app.be_heard import Signals

    orders, given = stand_orders.standing(store), _Given(path)
    prints = {name: given.print_of(way) for name, way in orders.paths.items()}
    return Signals(store, orders, given.file.key(), prints, functools.partial(stand_orders.names_of, store))


def make_parts(store: Store, queue: Intake, path: str, clock: Clock) -> Parts:
    """Everything that the standing orders name, made of real parts: couriers, feeds, mailbox, guards.

    A secret that nobody gave leaves its part out; it is named, and taken up when it is given.
    """
    import contextlib
    import functools

    from leadline.app import stand_orders
    from leadline.app.parts import Parts

    orders, given = stand_orders.standing(store), _Given(path)
    couriers, feeds = {}, []
    mine = orders.replies.user if orders.replies is not None else ""
    reply_to = mine if "@" in mine else ""
    for name, way in orders.paths.items():
        secret = given.of(way)
        if secret is not None:
            with contextlib.suppress(BadInput):  # a path without a courier fails its proof, with the words of that
                couriers[name] = _courier(way, secret, clock, reply_to)
    for said in orders.feeds:
        secret = given.of(said)
        if secret is not None:
            try:
                feeds.append(_feed(said, secret, queue, store, clock))
            except BadInput as exc:  # one bad part must not take the others with it
                queue.report(said.id, False, exc.line())
        else:
            queue.report(said.id, False, "its secret is missing: leadline watch secret NAME")
    replies = None
    if orders.replies is not None:
        from leadline.couriers.replies import Replies

        secret = given.of(orders.replies)
        replies = None if secret is None else Replies(orders.replies, secret)
    ping = None
    address = given.plain(orders.guard.ping) if orders.guard.ping else None
    if address:
        from leadline.couriers.ping import ping as reach

        ping = functools.partial(reach, address, 20.0)
    prints = {name: given.print_of(way) for name, way in orders.paths.items()}
    missing = tuple(dict.fromkeys(given.missing))
    return Parts(orders, given.file.key(), prints, couriers, feeds, replies, _health, ping, missing)


def _health(address: str) -> Mapping[str, Any]:
    from leadline.couriers.ping import health

    return health(address, 10.0)


def _courier(way: Path, secret: str, clock: Clock, reply_to: str) -> Courier:
    from leadline.system.orders import CommandPath, MailPath

    if isinstance(way, MailPath):
        from leadline.couriers.mail import Mail

        return Mail(way, secret, clock, reply_to=reply_to)
    if isinstance(way, CommandPath):
        from leadline.couriers.command import Command

        return Command(way)
    from leadline.couriers.service import Service

    return Service(way, secret)


def _feed(said: FeedOrder, secret: str, queue: Intake, store: Store, clock: Clock) -> Feed:
    import functools

    from leadline.app import describe
    from leadline.measures.moments import zone
    from leadline.system.orders import FileFeed, MqttFeed

    def zone_of(system: str) -> dt.tzinfo:
        return zone(describe.load(store, system).time_zone)

    if isinstance(said, MqttFeed):
        from leadline.feeds.mqtt import Mqtt

        return Mqtt(said, secret, queue, clock, zone_of=zone_of)
    if isinstance(said, FileFeed):
        from leadline.feeds.growing import Growing

        load = functools.partial(store.record, "feed", said.id)
        save = functools.partial(store.put_record, "feed", said.id)
        return Growing(said, queue, load=load, save=save, zone_of=zone_of)
    from leadline.feeds.polling import Polling

    return Polling(said, secret, queue, clock, zone_of=zone_of)
