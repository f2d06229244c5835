"""What the watch keeps: alarms as they stand and went, messages, deliveries, what came in and is no point."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import Any

from leadline.alarms.alarm import Alarm, Event, State
from leadline.alarms.decide import Priority
from leadline.alarms.delivery import Delivery, Kind, Message, Stage
from leadline.alarms.raised import Happened, Raised
from leadline.app.ports import Held
from leadline.store.file import DatabaseFile

_ALARM = (
    "system, name, subject, state, holds, latching, since, until, reason, priority, value, because, began, harm_at,"
    " cause, again_at"
)
_MESSAGE = "id, kind, system, alarm, priority, subject, text, opened, harm_at, calm_at, closed, closed_by, closed_how"
_DELIVERY = "seq, message, person, path, turn, state, opened, tries, next_try, changed, note"
_MOST_HELD = 100_000


def _us(seconds: float | None) -> int | None:
    return None if seconds is None else round(seconds * 1e6)


def _s(us: int | None) -> float | None:
    return None if us is None else us / 1e6


class Alarms(DatabaseFile):
    """The part of the store that keeps the watch's own records."""

    # alarms

    def alarms(self, system: str | None = None) -> list[Raised]:
        """Every alarm that ever was, as it stands, by system and name."""
        with self._read() as db:
            found = db.execute(
                f"SELECT {_ALARM} FROM alarm WHERE ?1 IS NULL OR system = ?1 ORDER BY system, name", (system,)
            )
            return list(map(_raised, found.fetchall()))

    def alarm(self, system: str, name: str) -> Raised | None:
        """One alarm as it stands; None when it never was."""
        with self._read() as db:
            row = db.execute(f"SELECT {_ALARM} FROM alarm WHERE system = ? AND name = ?", (system, name)).fetchone()
        return None if row is None else _raised(row)

    def keep_alarm(self, raised: Raised, happened: Happened | None) -> None:
        """Keep an alarm as it stands now, and the transition that brought it there."""
        a = raised.alarm
        with self._write() as db:
            db.execute(
                f"INSERT OR REPLACE INTO alarm ({_ALARM}) VALUES ({', '.join('?' * 16)})",
                (
                    raised.system, a.name, raised.subject, str(a.state), a.holds, a.latching, _us(a.since_s),
                    _us(a.until_s), a.reason, str(raised.priority), raised.value, raised.because, _us(raised.began_s),
                    _us(raised.harm_at_s), raised.cause, _us(raised.again_at_s),
                ),
            )  # fmt: skip
            if happened is not None:
                h = happened
                db.execute(
                    "INSERT INTO alarm_event (at, system, name, event, before, after, priority, cause, who, words)"
                    " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    (
                        _us(h.at_s), h.system, h.name, str(h.event), str(h.before), str(h.after), str(h.priority),
                        h.cause, h.who, h.words,
                    ),
                )  # fmt: skip

    def alarm_events(self, begin_s: float, end_s: float, system: str | None = None) -> list[Happened]:
        """Transitions of a span, in order of time."""
        with self._read() as db:
            found = db.execute(
                "SELECT at, system, name, event, before, after, priority, cause, who, words FROM alarm_event"
                " WHERE at >= ? AND at < ? AND (?3 IS NULL OR system = ?3) ORDER BY at, seq",
                (_us(begin_s), _us(end_s), system),
            ).fetchall()
        return [
            Happened(r[0] / 1e6, r[1], r[2], Event(r[3]), State(r[4]), State(r[5]), Priority(r[6]), r[7], r[8], r[9])
            for r in found
        ]

    # messages

    def open_message(self, message: Message) -> None:
        """Keep a new message; one of that id that is there already is left alone."""
        m = message
        with self._write() as db:
            db.execute(
                f"INSERT INTO message ({_MESSAGE}) VALUES ({', '.join('?' * 13)}) ON CONFLICT (id) DO NOTHING",
                (
                    m.id, str(m.kind), m.system, m.alarm, str(m.priority), m.subject, m.text, _us(m.opened_s),
                    _us(m.harm_at_s), _us(m.calm_s), _us(m.closed_s), m.closed_by, m.closed_how,
                ),
            )  # fmt: skip

    def message(self, id: str) -> Message | None:
        """One message."""
        with self._read() as db:
            row = db.execute(f"SELECT {_MESSAGE} FROM message WHERE id = ?", (id,)).fetchone()
        return None if row is None else _message(row)

    def open_messages(self) -> list[Message]:
        """Messages that nobody has answered yet, oldest first."""
        with self._read() as db:
            found = db.execute(f"SELECT {_MESSAGE} FROM message WHERE closed IS NULL ORDER BY opened, id").fetchall()
        return list(map(_message, found))

    def recent_messages(self, since_s: float, alarm: tuple[str, str] | None = None) -> list[Message]:
        """Messages opened since a moment, newest first; of one alarm when it is given (system, name)."""
        which, more = ("", ()) if alarm is None else (" AND system = ? AND alarm = ?", alarm)
        with self._read() as db:
            found = db.execute(
                f"SELECT {_MESSAGE} FROM message WHERE opened >= ?{which} ORDER BY opened DESC, id",
                (_us(since_s), *more),
            ).fetchall()
        return list(map(_message, found))

    def unspoken(self) -> list[Raised]:
        """Alarms of medium priority and above that speak, and of which no message was opened since they began to."""
        with self._read() as db:
            found = db.execute(
                f"SELECT {_ALARM} FROM alarm a WHERE state = 'unacknowledged' AND priority <> 'low' AND NOT EXISTS"
                " (SELECT 1 FROM message m WHERE m.system = a.system AND m.alarm = a.name AND m.opened >= a.since"
                " AND m.kind = 'alarm') ORDER BY began, system, name"
            ).fetchall()
        return list(map(_raised, found))

    def calm_message(self, id: str, at_s: float) -> None:
        """Note that the condition behind a message ended by itself."""
        with self._write() as db:
            db.execute("UPDATE message SET calm_at = ? WHERE id = ? AND calm_at IS NULL", (_us(at_s), id))

    def close_message(self, id: str, at_s: float, by: str, how: str) -> bool:
        """Close a message with its answer, and drop what is still to be sent of it; False when it was closed before."""
        with self._write() as db:
            closed = db.execute(
                "UPDATE message SET closed = ?, closed_by = ?, closed_how = ? WHERE id = ? AND closed IS NULL",
                (_us(at_s), by, how, id),
            ).rowcount
            db.execute(
                "UPDATE delivery SET state = 'dropped', changed = ? WHERE message = ?"
                " AND state IN ('queued', 'trying')",
                (_us(at_s), id),
            )
            return bool(closed)

    # deliveries

    def queue_delivery(self, message: str, person: str, path: str, turn: int, at_s: float) -> bool:
        """Write down that a message is to go to a person by a path; False when it stands there already."""
        with self._write() as db:
            return bool(
                db.execute(
                    "INSERT INTO delivery (message, person, path, turn, state, opened, tries, next_try, changed, note)"
                    " VALUES (?1, ?2, ?3, ?4, 'queued', ?5, 0, ?5, ?5, '') ON CONFLICT DO NOTHING",
                    (message, person, path, turn, _us(at_s)),
                ).rowcount
            )

    def deliveries(self, message: str) -> list[Delivery]:
        """All deliveries of a message, in the order they were written."""
        with self._read() as db:
            found = db.execute(
                f"SELECT {_DELIVERY} FROM delivery WHERE message = ? ORDER BY seq", (message,)
            ).fetchall()
        return list(map(_delivery, found))

    def delivery(self, seq: int) -> Delivery | None:
        """One delivery."""
        with self._read() as db:
            row = db.execute(f"SELECT {_DELIVERY} FROM delivery WHERE seq = ?", (seq,)).fetchone()
        return None if row is None else _delivery(row)

    def due_deliveries(self, now_s: float) -> list[Delivery]:
        """Deliveries whose next try is due, the loudest first, then the oldest."""
        columns = ", ".join(f"d.{c}" for c in _DELIVERY.split(", "))
        with self._read() as db:
            found = db.execute(
                f"SELECT {columns} FROM delivery d JOIN message m ON m.id = d.message"
                " WHERE d.state = 'queued' AND d.next_try <= ?"
                " ORDER BY CASE m.priority WHEN 'urgent' THEN 0 WHEN 'high' THEN 1 ELSE 2 END, d.next_try, d.seq",
                (_us(now_s),),
            ).fetchall()
        return list(map(_delivery, found))

    def claim_delivery(self, seq: int, at_s: float) -> bool:
        """Write down that a try begins; False when somebody else has it or nobody waits for it any more."""
        with self._write() as db:
            return bool(
                db.execute(
                    "UPDATE delivery SET state = 'trying', tries = tries + 1, changed = ? WHERE seq = ?"
                    " AND state = 'queued'",
                    (_us(at_s), seq),
                ).rowcount
            )

    def settle_delivery(self, seq: int, stage: Stage, at_s: float, note: str, next_try_s: float | None = None) -> None:
        """Write down what became of a try. What was answered or dropped meanwhile keeps that."""
        with self._write() as db:
            db.execute(
                "UPDATE delivery SET state = ?, changed = ?, note = ?, next_try = ifnull(?, next_try)"
                " WHERE seq = ? AND state IN ('queued', 'trying', 'handed-over', 'delivered')",
                (str(stage), _us(at_s), note, _us(next_try_s), seq),
            )

    def mark_delivery(self, seq: int, stage: Stage, at_s: float, note: str) -> None:
        """Write down that a delivery was opened or answered, whatever stood there."""
        with self._write() as db:
            db.execute(
                "UPDATE delivery SET state = ?, changed = ?, note = ? WHERE seq = ?", (str(stage), _us(at_s), note, seq)
            )

    def requeue_deliveries(self, at_s: float, before_s: float | None = None) -> int:
        """Tries that were cut off are due again: all of them after a start, else those begun before a moment."""
        with self._write() as db:
            return int(
                db.execute(
                    "UPDATE delivery SET state = 'queued', next_try = ?1, changed = ?1,"
                    " note = 'cut off; tried again' WHERE state = 'trying' AND (?2 IS NULL OR changed < ?2)",
                    (_us(at_s), _us(before_s)),
                ).rowcount
            )

    def clock_set_back(self, now_s: float, most_s: float) -> None:
        """The clock was ahead and was set right: nothing waits for a time that will not come for long.

        Moments of the past that lie ahead become now; ends and second words at most so far ahead.
        """
        now, most = _us(now_s), _us(now_s + most_s)
        with self._write() as db:
            db.execute("UPDATE message SET opened = min(opened, ?1) WHERE closed IS NULL", (now,))
            db.execute(
                "UPDATE delivery SET opened = min(opened, ?1), changed = min(changed, ?1), next_try = min(next_try, ?1)"
                " WHERE next_try > ?1 OR opened > ?1 OR changed > ?1",
                (now,),
            )
            db.execute(
                "UPDATE alarm SET since = min(since, ?1), began = min(began, ?1), until = min(until, ?2),"
                " again_at = min(again_at, ?2)",
                (now, most),
            )

    # what came in and is no point

    def hold(self, held: Sequence[Held]) -> int:
        """Keep what can't be used as it stands; returns how many were kept (the oldest room is limited)."""
        with self._write() as db:
            there = int(db.execute("SELECT count(*) FROM held").fetchone()[0])
            room = max(_MOST_HELD - there, 0)
            db.executemany(
                "INSERT INTO held (at, feed, system, stream, words, why) VALUES (?, ?, ?, ?, ?, ?)",
                [(_us(h.at_s), h.feed, h.system, h.stream, h.words, h.why) for h in held[:room]],
            )
            return min(len(held), room)

    def held(self, most: int = 200) -> list[Held]:
        """The newest of what is held."""
        with self._read() as db:
            found = db.execute(
                "SELECT at, feed, system, stream, words, why FROM held ORDER BY seq DESC LIMIT ?", (most,)
            ).fetchall()
        return [Held(r[0] / 1e6, *r[1:]) for r in found]

    def held_count(self) -> int:
        """How many are held."""
        with self._read() as db:
            return int(db.execute("SELECT count(*) FROM held").fetchone()[0])

    def release_held(self) -> int:
        """Forget all that is held, once judged; returns how many."""
        with self._write() as db:
            return int(db.execute("DELETE FROM held").rowcount)

    def changes(self) -> int:
        """A number that changes whenever another process or connection has written."""
        with self._turn:
            return int(self._connection.execute("PRAGMA data_version").fetchone()[0])


def _raised(r: Sequence[Any]) -> Raised:
    alarm = Alarm(r[1], State(r[3]), bool(r[4]), bool(r[5]), r[6] / 1e6, _s(r[7]), r[8])
    return Raised(r[0], alarm, r[2], Priority(r[9]), r[10], r[11], r[12] / 1e6, _s(r[13]), r[14], _s(r[15]))


def _message(r: Sequence[Any]) -> Message:
    return Message(
        r[0],
        Kind(r[1]),
        r[2],
        r[3],
        Priority(r[4]),
        r[5],
        r[6],
        r[7] / 1e6,
        _s(r[8]),
        _s(r[9]),
        _s(r[10]),
        r[11],
        r[12],
    )


def _delivery(r: sqlite3.Row | Sequence[Any]) -> Delivery:
    return Delivery(r[0], r[1], r[2], r[3], r[4], Stage(r[5]), r[6] / 1e6, r[7], r[8] / 1e6, r[9] / 1e6, r[10])
