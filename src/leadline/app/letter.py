"""A message as a courier carries it: its text, and the ways to answer it."""

from __future__ import annotations

from leadline.alarms import codes, message
from leadline.alarms.delivery import Delivery, Kind, Message
from leadline.app.ports import Outgoing
from leadline.system.orders import MqttFeed, Orders


def outgoing(orders: Orders, key: bytes, m: Message, d: Delivery) -> Outgoing:
    """What a courier is given for one delivery of a message; `key` makes its link and its code."""
    if m.kind is Kind.NOTICE:
        return Outgoing(m.id, str(m.priority), m.subject, m.text)
    code = codes.reply_code(key, m.id, d.person, d.path)
    link = f"{orders.address}/seen/{ticket(key, d)}" if orders.address else ""
    broker = any(isinstance(f, MqttFeed) for f in orders.feeds)
    foot = message.ways_to_answer(link, code if broker else "")
    code = code if orders.replies is not None else ""  # nobody would read a reply
    # a try that a crash repeats has the same id; calling again in a later turn must not be dropped as a repeat
    ident = m.id if d.turn == 0 else f"{m.id}.{d.turn}"
    return Outgoing(ident, str(m.priority), m.subject, f"{m.text}\n\n{foot}".rstrip(), link, code)


def ticket(key: bytes, d: Delivery) -> str:
    """What stands in the link of a delivery: its number and what proves it."""
    return f"{d.seq}-{codes.link_code(key, d.message, d.person, d.path)}"
