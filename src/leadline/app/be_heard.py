"""Be heard: messages opened before the first try, called up the ladder, closed only by an answer; and proof of it.

Every step is one transaction of the store, and each starts from what stands there: killed between any two of them, the
same steps follow after the next start. A message may then arrive twice, with one id; it is never lost.
"""

from __future__ import annotations

import datetime as dt
import secrets as chance
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from zoneinfo import ZoneInfo

from leadline.alarms import codes, decide, groups, message, proof
from leadline.alarms.alarm import ACTIVE, Event, State
from leadline.alarms.decide import Priority
from leadline.alarms.delivery import Delivery, Kind, Message, Stage, back_off_s, gives_up
from leadline.alarms.proof import Proven
from leadline.alarms.raised import Raised
from leadline.alarms.routes import calls
from leadline.app import letter, path_book, stock_look
from leadline.app.keep_watch import WATCH, Transition, Watch
from leadline.app.path_book import PATH
from leadline.app.ports import Courier, Outgoing, Store, Undelivered
from leadline.detect.findings import Finding
from leadline.measures import figures
from leadline.measures.errors import BadInput
from leadline.system.orders import Orders, Person

FLOOD = "flood"
AGAIN = "told again"
_HARM_OF = {Priority.URGENT: 1800.0, Priority.HIGH: 5 * 3600.0, Priority.MEDIUM: 12 * 3600.0}  # [s]
ANSWERS_FOR_S = 14 * 86400.0  # how long a link or code answers


def _nothing(step: str) -> None:
    return None


@dataclass(frozen=True, slots=True)
class Answered:
    """What an answer did: the message, and whether it was the first."""

    message: Message
    first: bool
    words: str


@dataclass
class Signals:
    """The way from an alarm to a person and back.

    Attributes
    ----------
    key
        The secret from which codes and links are worked out.
    prints
        A fingerprint of each path as it is set up, its secrets included: a new one makes the path unproved.
    names
        A system's id to its name, time zone and machine types.
    step
        Called between any two steps with the name of the one just done.
    """

    store: Store
    orders: Orders
    key: bytes
    prints: Mapping[str, str]
    names: Callable[[str], tuple[str, str, Mapping[str, str]]]
    step: Callable[[str], None] = _nothing
    _flooding: bool = field(default=False)

    # -- opening ---------------------------------------------------------------------------------------

    def tell(self, turned: Iterable[Transition], now_s: float) -> None:
        """Open messages for alarms that speak, note that others ended. Call it in the transaction that moved them."""
        spoke = False
        for t in turned:
            if t.state is State.UNACKNOWLEDGED:
                spoke = True
            elif t.event is Event.RETURN:
                self._calm(t, now_s)
            else:  # acknowledged, shelved, quiet, out of service, or normal again
                for m in self._open_of(t.system, t.alarm):
                    self.store.close_message(m.id, now_s, "", str(t.state))
        if spoke:
            self.catch_up(now_s)

    def catch_up(self, now_s: float) -> None:
        """Open a message for every alarm that speaks and has none: whoever moved it, and whatever happened since."""
        for r in self.store.unspoken():
            self._speak(r, now_s)

    def _open_of(self, system: str, name: str) -> list[Message]:
        return [m for m in self.store.open_messages() if m.kind is Kind.ALARM and (m.system, m.alarm) == (system, name)]

    def _speak(self, raised: Raised, now_s: float) -> None:
        if raised.cause and self._told_with_its_cause(raised, now_s):
            return
        if groups.spoken_for(raised, self.store.alarm(WATCH, FLOOD)):
            return
        name, time_zone, types = self.names(raised.system)
        more: tuple[str, ...] = (f"It follows from: {message.spoken(raised.cause)}.",) if raised.cause else ()
        minded = stock_look.before_restart(self.store, raised.system, raised.subject, now_s)
        more += (minded,) if minded else ()
        told = replace(raised, harm_at_s=None) if raised.system == WATCH else raised  # the watch's own have no hour
        text = message.body(told, name, time_zone, now_s, dict(types), more)
        for older in self._open_of(raised.system, raised.name):  # it speaks again: the new message takes its place
            self.store.close_message(older.id, now_s, "", AGAIN)
        self.open(
            Kind.ALARM, raised.system, raised.name, raised.priority, message.subject(raised, name), text, now_s,
            raised.harm_at_s,
        )  # fmt: skip

    def _told_with_its_cause(self, raised: Raised, now_s: float) -> bool:
        """Whether its cause stands, was told, and nothing is worse than was said of it."""
        cause = self.store.alarm(raised.system, raised.cause)
        if cause is None or not cause.alarm.holds or cause.state not in ACTIVE:
            return False
        told = self.store.recent_messages(now_s - groups.LONGEST_S, (raised.system, raised.cause))
        return bool(told) and not decide.louder(
            raised.priority, max((m.priority for m in told), key=decide.RANK.__getitem__)
        )

    def flood(self, now_s: float) -> Finding:
        """Whether more alarms come than anybody can read. It stands until nothing of it is unanswered."""
        recent = self.store.alarm_events(now_s - groups.FLOOD_SPAN_S, now_s + 1.0)
        first: dict[tuple[str, str], float] = {}  # one that chatters is no flood
        for e in recent:
            if e.after is State.UNACKNOWLEDGED and e.priority is not Priority.LOW and e.system != WATCH:
                first.setdefault((e.system, e.name), e.at_s)
        self._flooding = groups.floods(sorted(first.values()), now_s, self._flooding)
        asking = [
            r for r in self.store.alarms()
            if r.state is State.UNACKNOWLEDGED and r.priority is not Priority.LOW and r.system != WATCH
        ]  # fmt: skip
        was = self.store.alarm(WATCH, FLOOD)
        stands = was is not None and was.alarm.holds
        if not asking or not (self._flooding or stands):
            return Finding(FLOOD, FLOOD, now_s, False, None, None, "The flood is over.")
        asking.sort(key=lambda r: (-decide.RANK[r.priority], r.began_s))
        worst = "; ".join(f"{r.system}, {message.spoken(r.name)} ({r.priority})" for r in asking[:5])
        because = f"{len(asking)} alarms ask for an answer, more than ten came in ten minutes. The worst: {worst}."
        return Finding(FLOOD, FLOOD, now_s, True, float(len(asking)), _HARM_OF[asking[0].priority], because)

    def open(
        self, kind: Kind, system: str, alarm: str, priority: Priority, subject: str, text: str, now_s: float,
        harm_at_s: float | None = None,
    ) -> Message:  # fmt: skip
        """Write down a message, and the first calls of its ladder with it."""
        with self.store.together():
            m = Message(
                chance.token_hex(8), kind, system, alarm, priority, subject, text, now_s, harm_at_s
            )  # fmt: skip
            self.store.open_message(m)
            if kind is Kind.ALARM:
                self._call(m, now_s)
        self.step("opened")
        return m

    def _calm(self, t: Transition, now_s: float) -> None:
        """A condition ended by itself: nobody new is called, and those who were told hear that it is over."""
        raised = self.store.alarm(t.system, t.alarm)
        for m in self._open_of(t.system, t.alarm):
            self.store.calm_message(m.id, now_s)
            told = [d for d in self.store.deliveries(m.id) if d.stage in (Stage.HANDED_OVER, Stage.DELIVERED)]
            if told and raised is not None:
                name, time_zone, _ = self.names(t.system)
                subject, text = message.over(raised, name, time_zone, now_s)
                with self.store.together():
                    note = self.open(Kind.NOTICE, t.system, t.alarm, m.priority, subject, text, now_s)
                    for person, path in dict.fromkeys((d.person, d.path) for d in told):
                        self.store.queue_delivery(note.id, person, path, 0, now_s)
            if t.state is State.NORMAL:
                self.store.close_message(m.id, now_s, "", "over")

    # -- calling ---------------------------------------------------------------------------------------

    def call(self, now_s: float) -> None:
        """Queue the calls whose time has come, of every message that nobody has answered."""
        unproved = self._unproved()
        for m in self.store.open_messages():
            if m.kind is Kind.ALARM:
                self._call(m, now_s, unproved)

    def _unproved(self) -> set[tuple[str, str]]:
        return {(p.person, p.path) for p in self.known() if not p.counts}

    def _call(self, m: Message, now_s: float, unproved: Collection[tuple[str, str]] | None = None) -> None:
        done = self.store.deliveries(m.id)
        there = {(d.person, d.path, d.turn) for d in done}
        unproved = self._unproved() if unproved is None else unproved
        people = self._people(m)
        escalation = self.orders.escalation
        if self._is_path(m):  # that a path is dead concerns the second person too: before something happens
            escalation = replace(escalation, next_person_s=escalation.next_path_s)
        for c in calls(m, people, escalation, done, unproved, self._minute, now_s):
            if (c.person, c.path, c.turn) not in there:
                self.store.queue_delivery(m.id, c.person, c.path, c.turn, now_s)
                self.step("queued")

    @staticmethod
    def _is_path(m: Message) -> bool:
        return m.system == WATCH and m.alarm.startswith(f"{PATH}-")

    def _people(self, m: Message) -> Sequence[Person]:
        """Those who are called; of a path's own trouble the other paths and people come first."""
        if not self._is_path(m):
            return self.orders.people
        bad = m.alarm.removeprefix(f"{PATH}-").removesuffix("-unproved")
        moved = [
            replace(p, paths=tuple(sorted(p.paths, key=lambda x: f"{p.id}-{x}" == bad))) for p in self.orders.people
        ]
        return sorted(moved, key=lambda p: len(p.paths) == 1 and f"{p.id}-{p.paths[0]}" == bad)

    def _minute(self, moment_s: float) -> int:
        local = dt.datetime.fromtimestamp(moment_s, ZoneInfo(self.orders.time_zone))
        return local.hour * 60 + local.minute

    def outgoing(self, d: Delivery) -> Outgoing | None:
        """What a courier is given for a delivery; None when its message is gone."""
        m = self.store.message(d.message)
        return None if m is None else letter.outgoing(self.orders, self.key, m, d)

    def ticket(self, d: Delivery) -> str:
        """What stands in the link of a delivery: its number and what proves it."""
        return letter.ticket(self.key, d)

    def attempt(self, d: Delivery, courier: Courier | None, now: Callable[[], float]) -> Stage | None:
        """One try of a delivery: written down before, settled after. None when there was nothing to try."""
        if not self.store.claim_delivery(d.seq, now()):
            return None
        self.step("claimed")
        out = self.outgoing(d)
        m = self.store.message(d.message)
        if out is None or m is None or courier is None:
            why = "its secret is missing, or the path is gone" if courier is None else "no such message"
            self.settle(d, m, Stage.FAILED, why, now())
            return Stage.FAILED
        try:
            receipt = courier.send(out)
        except Undelivered as exc:
            self.step("sent")
            return self._failed(d, m, exc, now())
        self.step("sent")
        stage = Stage.DELIVERED if receipt.state == "delivered" else Stage.HANDED_OVER
        self.settle(d, m, stage, message.plain(receipt.note, 200), now())
        return stage

    def _failed(self, d: Delivery, m: Message, exc: Undelivered, now_s: float) -> Stage:
        tries = d.tries + 1
        if exc.permanent or gives_up(m.kind, tries):
            self.settle(d, m, Stage.FAILED, exc.line(), now_s)
            return Stage.FAILED
        self.store.settle_delivery(d.seq, Stage.QUEUED, now_s, exc.line(), now_s + back_off_s(tries))
        self.step("settled")
        return Stage.QUEUED

    def settle(self, d: Delivery, m: Message | None, stage: Stage, note: str, now_s: float) -> None:
        """Write down what became of a try; a notice is done with it, and a failed path is passed at once."""
        with self.store.together():
            self.store.settle_delivery(d.seq, stage, now_s, note)
            if m is not None and m.kind is Kind.NOTICE:
                if not [x for x in self.store.deliveries(m.id) if x.stage in (Stage.QUEUED, Stage.TRYING)]:
                    self.store.close_message(m.id, now_s, "", "sent")
            elif m is not None and stage is Stage.FAILED and m.kind is Kind.ALARM:
                self._call(m, now_s)
        self.step("settled")

    # -- answering -------------------------------------------------------------------------------------

    def find(self, ticket: str) -> Delivery | None:
        """The delivery of a link; None for one that is wrong or too old."""
        number, _, code = ticket.partition("-")
        if not (number.isascii() and number.isdigit()) or len(number) > 15:
            return None
        d = self.store.delivery(int(number))
        if d is None or not codes.same(code, codes.link_code(self.key, d.message, d.person, d.path)):
            return None
        return d

    def find_code(self, code: str, now_s: float) -> Delivery | None:
        """The delivery of a code in a reply."""
        for m in self.store.recent_messages(now_s - ANSWERS_FOR_S):
            for d in self.store.deliveries(m.id):
                if codes.same(code, codes.reply_code(self.key, m.id, d.person, d.path)):
                    return d
        return None

    def opened(self, d: Delivery, now_s: float) -> None:
        """Somebody opened the link of a delivery: it arrived, which is no answer yet."""
        if d.stage in (Stage.HANDED_OVER, Stage.TRYING, Stage.QUEUED):
            self.store.settle_delivery(d.seq, Stage.DELIVERED, now_s, "opened")

    def answer(self, watch: Watch, d: Delivery, how: str, now_s: float) -> Answered:
        """An answer that came back through a delivery's own path: its message is closed, its path is proved.

        Raises
        ------
        BadInput
            When the message is too old to be answered.
        """
        m = self.store.message(d.message)
        if m is None or now_s - m.opened_s > ANSWERS_FOR_S:
            raise BadInput("this message is too old to be answered", way_out="Look at the watch's page.")
        with self.store.together():
            first = m.closed_s is None or not m.closed_by
            self._prove(d, m, now_s, first=first)
            if d.stage is not Stage.ACKNOWLEDGED:
                self.store.mark_delivery(d.seq, Stage.ACKNOWLEDGED, now_s, f"answered by {how}")
            words = self._close(watch, m, d.person, how, now_s)
        self.step("answered")
        return Answered(m, first, words)

    def acknowledge(
        self, watch: Watch, system: str, name: str, who: str, how: str, now_s: float, *,
        shown: Mapping[str, str] | None = None, seen_s: float | None = None,
    ) -> list[Transition]:  # fmt: skip
        """Acknowledge an alarm without a path: on the page or at a prompt. It proves no path.

        Parameters
        ----------
        shown
            Alarms of the system that whoever answers has before them, by name, each with the priority that is shown;
            those are answered with the named one. What has grown louder since, or began later, is not answered.
        seen_s
            When they were shown; missing where nothing was. [Unix s]

        Raises
        ------
        BadInput
            When the named alarm itself is no longer what was shown.
        """
        moment = now_s if seen_s is None else seen_s
        with self.store.together():
            raised = self.store.alarm(system, name)
            asks = raised is not None and raised.state is State.UNACKNOWLEDGED
            if raised is not None and asks and seen_s is not None and not groups.as_shown(raised, shown or {}, seen_s):
                raise BadInput(f"{message.spoken(name)} grew louder or began anew", way_out="Look at it again.")
            turned = [] if raised is None else self._acknowledge(watch, raised, who, how, now_s, moment)
            for r in self.store.alarms(system) if shown else ():
                if r.name != name and groups.as_shown(r, shown or {}, moment):
                    turned += self._acknowledge(watch, r, who, how, now_s, moment)
            if (system, name) == (WATCH, FLOOD):
                turned += self._spoken_for(watch, who, how, now_s, moment)
        self.step("answered")
        return turned

    def _spoken_for(self, watch: Watch, who: str, how: str, now_s: float, seen_s: float) -> list[Transition]:
        """Acknowledge what a flood spoke for."""
        asking = [r for r in self.store.alarms() if r.state is State.UNACKNOWLEDGED and r.alarm.since_s <= seen_s]
        return [t for r in asking for t in self._acknowledge(watch, r, who, how, now_s, seen_s)]

    def _close(self, watch: Watch, m: Message, who: str, how: str, now_s: float) -> str:
        raised = self.store.alarm(m.system, m.alarm) if m.kind is Kind.ALARM else None
        if m.closed_how == AGAIN or (raised is not None and self._newer(m, raised)):
            return f"There is a newer message of {message.spoken(m.alarm)}: answer that one."
        self.store.close_message(m.id, now_s, who, how)
        if m.kind is Kind.PROOF:
            return "The path is proved."
        over = raised is None or raised.state is State.NORMAL
        if raised is not None and not over:
            self._acknowledge(watch, raised, who, how, now_s, m.opened_s)
        if (m.system, m.alarm) == (WATCH, FLOOD):
            self._spoken_for(watch, who, how, now_s, m.opened_s)
            return "The alarms that stood when it was sent are acknowledged."
        return f"{message.spoken(m.alarm)} {'is over: it asks for nothing' if over else 'is acknowledged'}."

    def _newer(self, m: Message, raised: Raised) -> bool:
        """Whether an alarm spoke again since a message of it: that one's answer answers nothing any more."""
        told = self.store.recent_messages(m.opened_s, (m.system, m.alarm))
        again = any(x.kind is Kind.ALARM and x.opened_s > m.opened_s for x in told)
        return again or (raised.state is State.UNACKNOWLEDGED and raised.alarm.since_s > m.opened_s)

    def _acknowledge(
        self, watch: Watch, raised: Raised, who: str, how: str, now_s: float, seen_s: float
    ) -> list[Transition]:
        """Acknowledge an alarm with what follows from it, and what of the same cause is low: shown, told to nobody.

        Whatever was told of it is answered with it; what was told by a message of its own, is louder, or began after
        `seen_s` asks for its own answer, and an alarm that is over answers nothing of today.
        """
        turned = watch.happen(raised, Event.ACKNOWLEDGE, now_s, who=who)
        for m in self._open_of(raised.system, raised.name):
            self.store.close_message(m.id, now_s, who, how)
        if not raised.alarm.holds:
            return turned
        for r in self.store.alarms(raised.system):
            if groups.answered_with(r, raised, seen_s) and not self._open_of(r.system, r.name):
                turned += watch.happen(r, Event.ACKNOWLEDGE, now_s, who=who)
        return turned

    # -- proof -----------------------------------------------------------------------------------------

    def known(self) -> list[Proven]:
        """What is known of every person's every path, as it is set up now."""
        return path_book.known(self.store, self.orders, self.prints)

    def settle_prints(self, now_s: float) -> None:
        """Note how each path is set up: one set up otherwise than when it was proved is unproved from now on."""
        for person, path in self.orders.used():
            seen = self._seen(person.id, path.id)
            if seen["since_s"] is None:
                self._keep(person.id, path.id, seen | {"since_s": now_s})

    def disowned(self, now_s: float, others: Collection[str]) -> list[Finding]:
        """What the watch says of parts that the orders no longer name: that is over. Their open proofs are closed.

        Parameters
        ----------
        others
            Names of alarms that feeds and guards of these orders may raise.
        """
        mine = {f"{PATH}-{p.id}-{x.id}-unproved" for p, x in self.orders.used()} | set(others)
        asked = {f"{p.id}/{x.id}" for p, x in self.orders.used()}
        for m in self.store.open_messages():
            if m.kind is Kind.PROOF and m.alarm not in asked:
                self.store.close_message(m.id, now_s, "", "no longer in the orders")
        return [
            Finding(r.name, r.subject, now_s, False, None, None, "It is no longer in the orders.")
            for r in self.store.alarms(WATCH)
            if r.alarm.holds and r.name.startswith((f"{PATH}-", "feed-", "guard-")) and r.name not in mine
        ]

    def _seen(self, person: str, path: str) -> dict[str, Any]:
        return path_book.seen(self.store, person, path, self.prints.get(path, ""))

    def _keep(self, person: str, path: str, seen: Mapping[str, Any]) -> None:
        path_book.keep(self.store, person, path, seen)

    def _prove(self, d: Delivery, m: Message, now_s: float, *, first: bool) -> None:
        """An answer came back: the path worked when its message went out, if it is still set up as it was then."""
        seen = self._seen(d.person, d.path)
        if seen["since_s"] is not None and m.opened_s < seen["since_s"]:
            return  # an answer to what the old set-up carried
        newest = seen["asked_s"] is None or m.opened_s >= seen["asked_s"]
        if seen["overdue"] and not newest:
            return  # an older message says nothing of the proof that failed since
        if seen["proved_s"] is not None:
            seen["days"] += max(d.opened_s - seen["proved_s"], 0.0) / 86400.0
        seen["proved_s"] = max(d.opened_s, seen["proved_s"] or 0.0)
        if newest:
            seen |= {"asked_s": None, "overdue": False, "message": ""}
        seen["answered"] += int(first and m.kind is Kind.PROOF)
        self._keep(d.person, d.path, seen)

    def ask(self, person: str, path: str, now_s: float) -> Message:
        """Send a proof by one path now."""
        with self.store.together():
            for m in self.store.open_messages():  # an older one is answered by the new one or not at all
                if m.kind is Kind.PROOF and m.alarm == f"{person}/{path}":
                    self.store.close_message(m.id, now_s, "", "asked again")
            until = now_s + self.orders.proof.window_s
            who = next((p.name for p in self.orders.people if p.id == person), person)
            subject, text = message.proof(who, path, self.orders.time_zone, now_s, until)
            m = self.open(Kind.PROOF, WATCH, f"{person}/{path}", Priority.MEDIUM, subject, text, now_s)
            self.store.queue_delivery(m.id, person, path, 0, now_s)
            seen = self._seen(person, path)
            since = now_s if seen["since_s"] is None else seen["since_s"]
            self._keep(person, path, seen | {"asked_s": now_s, "last_s": now_s, "message": m.id, "since_s": since})
        self.step("asked")
        return m

    def prove(self, now_s: float) -> list[Finding]:
        """Ask for the proofs that are due; say which paths count as unproved, and which are proved again."""
        found: list[Finding] = []
        for person, path in self.orders.used():
            seen = self._seen(person.id, path.id)
            ahead = {k: now_s for k in ("proved_s", "asked_s", "last_s", "since_s") if (seen[k] or 0.0) > now_s}
            if ahead:  # the clock was ahead when this was noted
                seen |= ahead
                self._keep(person.id, path.id, seen)
            if now_s >= proof.due_s(self.orders.proof, seen["last_s"], now_s, self.orders.time_zone):
                self.ask(person.id, path.id, now_s)
                seen = self._seen(person.id, path.id)
            found += self._judge_path(person.id, path.id, seen, now_s)
        return found

    def _judge_path(self, person: str, path: str, seen: dict[str, Any], now_s: float) -> list[Finding]:
        name = f"{PATH}-{person}-{path}-unproved"
        why = ""
        if seen["asked_s"] is not None and not seen["overdue"]:
            tries = self.store.deliveries(str(seen["message"]))
            why = proof.missed(tries, float(seen["asked_s"]), now_s, self.orders.proof)
        if why:
            seen |= {"overdue": True, "missed": seen["missed"] + 1}
            self._keep(person, path, seen)
        if seen["overdue"]:
            gap = proof.nobody(self.known(), now_s + proof.TONIGHT_D * 86400.0)
            because = (
                f"{path} to {person} is unproved: {why or 'its last proof was not answered'}. "
                f"The chance that an alarm tonight reaches nobody is {figures.chance(gap)}."
            )
            harm = _HARM_OF[Priority.HIGH] if gap > 0.2 else None
            return [Finding(name, path, now_s, True, gap, harm, because)]
        if seen["proved_s"] is not None:
            return [Finding(name, path, now_s, False, None, None, f"{path} to {person} is proved again.")]
        return []
