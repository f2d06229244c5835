"""What livestock asks of the round: quarantine's steps, animals that were not seen, guards of pumps, a look tonight."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from leadline.livestock.census import Lot
from leadline.livestock.kinds import Hazard
from leadline.livestock.quarantine import Plan
from leadline.livestock.sight import Unseen
from leadline.livestock.treatments import Step
from leadline.measures.figures import chance, day, span
from leadline.measures.moments import days_between
from leadline.measures.words import _
from leadline.rounds.item import Candidate, Evidence

# harm-days that a thing left undone costs on average; all judgement, on the scale of `rounds.worth`
_TREAT, _TREAT_LATE, _LOOK, _SEARCH, _BASE, _PHOTO = 0.6, 2.0, 0.12, 0.5, 0.4, 0.06
_BODY, _DEAR, _GUARD, _UNGUARDED, _TONIGHT = 0.6, 2.0, 0.08, 0.5, 1.5
_DECIDE, _SIGN, _HATCH = 0.1, 0.9, 0.1


def of_plan(plan: Plan, system: str, now: dt.datetime, local: dt.tzinfo) -> list[Candidate]:
    """What is due in a quarantine."""
    names = {a.pest.id: a.pest.name for a in plan.against}
    lots = _named(plan.lots)
    found = []
    for s in plan.steps:
        if s.state != "due" or s.key.startswith("photo"):
            continue
        worth, soon = _worth(s, now)
        until = " " + _("Window {days}.").format(days=_window(s, local, now)) if s.closes is not None else ""
        pests = [names.get(p, p) for p in s.pests]
        because = f"{s.why[:1].upper()}{s.why[1:]}.{until}"
        evidence = [Evidence("against", ", ".join(pests))] if pests else []
        if s.closes is not None:
            evidence.append(Evidence(_("days left in the window"), round(days_between(now, s.closes), 1), "d"))
        if plan.warmth is not None and s.action == "treat":
            evidence.append(Evidence("water", plan.warmth.said))
        evidence.append(Evidence(_("worth"), worth, "harm-days, judgement"))
        found.append(
            Candidate(
                s.action, about(s, plan), soon, s.minutes, worth, min(worth, 1.0), because, tuple(evidence),
                system, page=f"/livestock/{system}/quarantine#{s.key}", logs=_logs(s),
            )
        )  # fmt: skip
    if (
        plan.release is not None
        and now >= plan.release
        and not any(s.state == "due" and s.key != "look" for s in plan.steps)
    ):
        found.append(
            Candidate(
                "ask", f"release of {lots}", "week", 5.0, _DECIDE, 0.0, plan.conclusion, (), system,
                page=f"/livestock/{system}/quarantine",
            )
        )  # fmt: skip
    return found


def about(s: Step, plan: Plan) -> str:
    """What a line is about, after its verb: `again: three acropora frags`."""
    mine = _named([x for x in plan.lots if x.id in s.lots] or plan.lots)
    if s.key.startswith("photo"):
        return f"{mine}: {s.what.lower()}"
    if s.action == "treat":
        return mine if s.key == "dip-1" and s.what.startswith("Dip") else f"again: {mine}"
    return {
        "look": f"quarantine: {mine}",
        "base": f"base of {mine}",
        "kind": f"what {mine} is",
        "night": f"quarantine at night: {mine}",
    }.get(s.key, f"{s.what.lower()}: {mine}")


def _window(s: Step, local: dt.tzinfo, now: dt.datetime) -> str:
    assert s.closes is not None
    return _("{start} to {end}").format(start=day(s.opens, local, now), end=day(s.closes, local, now))


def urgency(s: Step, now: dt.datetime) -> str:
    """How soon a step that is due is wanted."""
    return _worth(s, now)[1]


def _worth(s: Step, now: dt.datetime) -> tuple[float, str]:
    if s.action == "treat":
        if s.closes is None:
            return _TREAT_LATE / 2.0, "today"
        left, whole = days_between(now, s.closes), max(days_between(s.opens, s.closes), 1.0)
        share = min(max(1.0 - left / whole, 0.0), 1.0)
        worth = _TREAT + (_TREAT_LATE - _TREAT) * share
        return round(worth, 3), "now" if left < 1.5 else "today" if left < 4.0 else "week"
    if s.key == "look":
        return _LOOK, "today"
    return {"night": (_SEARCH, "week"), "base": (_BASE, "today"), "kind": (_BASE, "today")}.get(s.key, (_PHOTO, "week"))


def _logs(s: Step) -> tuple[tuple[str, str], ...]:
    """How its doing is written when a press of a button says it all."""
    return (("kind", "observation"), ("subject", "census"), ("note", "looked over")) if s.key == "look" else ()


def _named(lots: Sequence[Lot]) -> str:
    names = [x.name for x in lots]
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")


def missing(found: Sequence[Unseen], system: str) -> list[Candidate]:
    """Animals that were not seen for longer than they hide; a body that rots is part of what is at stake."""
    out = []
    for u in found:
        if not u.overdue or (u.looks == 0 and u.days < 4.0 * u.usual_d):
            continue
        p = max(u.p_gone, 0.02)
        worth = p * _BODY * (_DEAR if u.lot.irreplaceable else 1.0)
        urgency = "today" if p > 0.5 else "week"
        gone = chance(u.p_gone)
        because = _("{unseen}. {chance} that it is gone.").format(
            unseen=u.said[:1].upper() + u.said[1:], chance=gone[:1].upper() + gone[1:]
        )
        evidence = (
            Evidence(_("days since it was seen"), round(u.days, 1), "d"),
            Evidence(_("looks that missed it"), u.looks),
            Evidence(_("it commonly hides for"), u.usual_d, "d"),
            Evidence(_("chance that it is gone"), round(u.p_gone, 3)),
        )
        out.append(
            Candidate(
                "observe", u.lot.name, urgency, 2.0, round(worth, 4), u.p_gone, because, evidence, system,
                page=f"/livestock/animal/{u.lot.id}",
                logs=(("kind", "observation"), ("subject", "seen"), ("animal", u.lot.id)),
            )
        )  # fmt: skip
    return out


def guards(due: Sequence[tuple[str, str, float | None]], system: str) -> list[Candidate]:
    """Pumps that can shred what lives here."""
    out = []
    for pump, who, days in due:
        if days is None:
            because = _(
                "{who} here and no guard is declared at {pump}: torn by an intake, it can poison everything."
            ).format(who=who, pump=pump)
            worth, urgency = _UNGUARDED, "today"
        else:
            because = _("{who} here; the guard was last looked at {span} ago.").format(who=who, span=span(days))
            worth, urgency = _GUARD, "week"
        because = f"{because[:1].upper()}{because[1:]} {_('Dry hands at the plug.')}"
        looked = (("kind", "service"), ("subject", f"{pump}-guard"), ("method", "checked"))
        out.append(
            Candidate(
                "inspect", f"guard of {pump}", urgency, 3.0, worth, 0.2 if days is None else 0.05, because,
                (Evidence(_("worth"), worth, "harm-days, judgement"),), system,
                page="" if days is not None else f"/systems/{system}?part=equipment&key={pump}#part-equipment",
                logs=looked if days is not None else (),
            )
        )  # fmt: skip
    return out


def tonight(found: Sequence[tuple[Lot, Hazard, dt.datetime]], system: str, now: dt.datetime) -> list[Candidate]:
    """After a toxic animal was touched, somebody looks at the fish."""
    out = []
    for lot, hazard, at in found:
        because = _("{animal} was disturbed {span} ago. {caution}").format(
            animal=lot.name[:1].upper() + lot.name[1:], span=span(days_between(at, now)), caution=hazard.caution
        )
        out.append(
            Candidate(
                "observe", f"fish beside {lot.name}", "now", 3.0, _TONIGHT, 0.3, because,
                (Evidence(_("hazard"), hazard.name),), system,
                logs=(("kind", "observation"), ("subject", "census"), ("note", f"fish looked at after {lot.name}")),
            )
        )  # fmt: skip
    return out


def signs(
    found: Sequence[tuple[dt.datetime, str, tuple[str, ...], str]], system: str, now: dt.datetime
) -> list[Candidate]:
    """Signs of disease outside a quarantine: what they point to, and what else may have been touched."""
    out = []
    for at, sign, pests, who in found:
        seen = _("Seen on {who} {span} ago.") if who else _("Seen {span} ago.")
        because = (
            seen.format(who=who, span=span(days_between(at, now)))
            + " "
            + _(
                "It is on record as a sign of {pests}: look what it can have touched, and keep this system's tools to "
                "itself. A diagnosis is a veterinarian's."
            ).format(pests=", ".join(pests[:3]))
        )
        out.append(
            Candidate(
                "isolate",
                f"tools: {sign.replace('-', ' ')} seen",
                "today",
                5.0,
                _SIGN,
                0.3,
                because,
                (Evidence(_("points to"), ", ".join(pests)), Evidence(_("worth"), _SIGN, "harm-days, judgement")),
                system,
                page=f"/trace?place={system}&sign={sign}",
            )
        )
    return out


def broods(
    found: Sequence[tuple[str, dt.datetime, dt.datetime]], system: str, now: dt.datetime, local: dt.tzinfo
) -> list[Candidate]:
    """Eggs that hatch about now: after lights out, and the young need food of their own."""
    out = []
    for who, begin, end in found:
        if begin - dt.timedelta(days=1) <= now <= end + dt.timedelta(days=1):
            because = _("They hatch {start} to {end}, after lights out (unconfirmed).").format(
                start=day(begin, local, now), end=day(end, local, now)
            )
            out.append(
                Candidate("observe", f"eggs of {who}", "today", 3.0, _HATCH, 0.0, because, (), system,
                          page=f"/livestock/animal/{who.replace(' ', '-')}")
            )  # fmt: skip
    return out
