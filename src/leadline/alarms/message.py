"""What is said: what, since when, time left, first step, where to look. Short, plain, the number in the sentence."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from leadline.alarms.first_steps import first_step
from leadline.alarms.raised import Raised

_MOST = 160


def plain(text: str, most: int = 2000) -> str:
    """Text from outside as one harmless line: no control characters, no line breaks, no endless words."""
    kept = "".join(c if c.isprintable() else " " for c in text)
    said = " ".join(kept.split())
    return said if len(said) <= most else said[: most - 1] + "…"


def subject(raised: Raised, system_name: str) -> str:
    """One line: how loud, where, what."""
    return plain(f"{raised.priority}: {system_name}, {spoken(raised.name)}", _MOST)


def spoken(name: str) -> str:
    """An alarm's name as words."""
    if name.startswith("path-") and name.endswith("-unproved"):
        person, _, path = name.removeprefix("path-").removesuffix("-unproved").partition("-")
        return f"{path} to {person} is unproved"
    return name.replace("-", " ")


def body(
    raised: Raised, system_name: str, time_zone: str, now_s: float, types: dict[str, str] | None = None,
    more: tuple[str, ...] = (),
) -> str:  # fmt: skip
    """The message of an alarm, without the ways to answer it."""
    local = ZoneInfo(time_zone)
    began = _at(raised.began_s, local, now_s)
    because = plain(raised.because)
    lines = [
        f"{because[:1].upper()}{because[1:]}",
        f"Since {began} ({span(now_s - raised.began_s)} ago), in {plain(system_name, 80)}.",
    ]
    if raised.harm_at_s is not None:
        left = raised.harm_at_s - now_s
        lines.append(
            f"Time left: about {span(left)}, until {_at(raised.harm_at_s, local, now_s)}." if left > 60.0
            else "No time left: it is past its limit."
        )  # fmt: skip
    lines.append(f"First: {first_step(raised.name, raised.subject, types)}")
    return "\n".join([*lines, *map(plain, more)])


def over(raised: Raised, system_name: str, time_zone: str, now_s: float) -> tuple[str, str]:
    """Subject and text that a condition ended by itself."""
    lasted = span(now_s - raised.began_s)
    at = _at(now_s, ZoneInfo(time_zone), now_s)
    return (
        plain(f"over: {system_name}, {spoken(raised.name)}", _MOST),
        f"{plain(raised.because)}\nIt ended by itself at {at}, after {lasted}. Look for the cause when you are there.",
    )


def proof(person: str, path: str, time_zone: str, now_s: float, until_s: float) -> tuple[str, str]:
    """Subject and text of a proof."""
    local = ZoneInfo(time_zone)
    return (
        f"proof: does {path} reach you?",
        f"This is a proof of the alarm path {path} to {plain(person, 60)}. Nothing is wrong.\n"
        f"Answer once by {_at(until_s, local, now_s)}; else the path counts as unproved, and the others are told.",
    )


def ways_to_answer(link: str, by_mqtt: str) -> str:
    """How to answer, at the foot of a message; how a reply does it is said by the mail itself."""
    ways = [f"Seen: {link}"] if link else []
    return "\n".join([*ways, *([f"Or publish to leadline/answer/{by_mqtt}"] if by_mqtt else [])])


def span(seconds: float) -> str:
    """A span as one says it: `40 s`, `12 min`, `3 h 20 min`, `2 d 4 h`."""
    s = max(seconds, 0.0)
    if s < 90.0:
        return f"{s:.0f} s"
    minutes = round(s / 60.0)
    if minutes < 90:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {rest:02d} min" if rest else f"{hours} h"
    days, left = divmod(hours, 24)
    return f"{days} d {left} h" if left else f"{days} d"


def _at(moment_s: float, local: ZoneInfo, now_s: float) -> str:
    when, today = dt.datetime.fromtimestamp(moment_s, local), dt.datetime.fromtimestamp(now_s, local)
    return f"{when:%H:%M}" if when.date() == today.date() else f"{when:%H:%M} on {when.day} {when:%B}"
