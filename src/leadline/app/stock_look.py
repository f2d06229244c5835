"""What the watch sees of livestock, once an hour: a treatment's window that closes, a toxic animal disturbed."""

from __future__ import annotations

import datetime as dt

from leadline.app import quarantine, stock
from leadline.app.ports import Store
from leadline.detect.findings import Finding
from leadline.measures.moments import FixedClock
from leadline.system.description import System

CLOSES_D = 1.5  # so long before a window closes it is called for [d]
WINDOW, DISTURBED = "treatment-window-closes", "toxic-animal-disturbed"


def findings(store: Store, system: System, now_s: float) -> list[Finding]:
    """Findings that hold, and those that are known not to."""
    now = dt.datetime.fromtimestamp(now_s, dt.UTC)
    clock = FixedClock(now)
    h = stock.house(store, clock)
    if not h.register.lots:
        return []
    found: list[Finding] = []
    plan = quarantine.plan(store, clock, system.id) if system.id in quarantine.units(h) else None
    due = [s for s in plan.steps if s.state == "due" and s.closes is not None and s.action == "treat"] if plan else []
    closing = min(due, key=lambda s: s.closes or now, default=None)
    if closing is not None and closing.closes is not None and closing.closes - now < dt.timedelta(days=CLOSES_D):
        left = max((closing.closes - now).total_seconds(), 0.0)
        last = f"{closing.closes.day} {closing.closes:%B}"
        words = f"The treatment in {system.id} is due until {last}: after that a hatchling can lay."
        found.append(Finding(WINDOW, system.id, now_s, True, left / 86400.0, None, words, consequence=False))
    else:
        found.append(Finding(WINDOW, system.id, now_s, False, None, None, "No treatment's window is about to close."))
    disturbed = stock.disturbed(h, system.id)
    if disturbed:
        lot, hazard, at = disturbed[0]
        hours = (now - at).total_seconds() / 3600.0
        words = (
            f"{lot.name} was moved, cut or lost {hours:.0f} hours ago in {system.id} and nobody has looked since: "
            f"{hazard.caution}"
        )
        if hours >= 3.0:
            found.append(Finding(DISTURBED, system.id, now_s, True, hours, None, words))
    else:
        found.append(Finding(DISTURBED, system.id, now_s, False, None, None, "Somebody has looked since."))
    return found


def before_restart(store: Store, system: str, subject: str, now_s: float) -> str:
    """What to mind at a pump where livestock lives that it can shred; empty where there is none."""
    clock = FixedClock(dt.datetime.fromtimestamp(now_s, dt.UTC))
    h = stock.house(store, clock)
    described = h.systems.get(system)
    if described is None or not any(e.id == subject and e.type == "pump" for e in described.equipment):
        return ""
    prone = h.hazards(system, stock.PUMP_PRONE)
    if not prone:
        return ""
    who = " and ".join(dict.fromkeys(x.name for x, _ in prone))
    return f"Before it starts again: {who} here. Look at the intake first; {prone[0][1].caution}"
