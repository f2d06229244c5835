"""Everything that could be done now, each with its minutes, its worth and the sentence that says why."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from leadline.estimate.report import QuantityEstimate, SystemEstimate
from leadline.measures import figures
from leadline.measures.figures import chance, figure, span
from leadline.measures.moments import days_between, zone
from leadline.measures.words import N_, _
from leadline.rounds import corrections, words
from leadline.rounds.choose import FLOOR_WORTH
from leadline.rounds.item import Candidate, Evidence
from leadline.rounds.reliability import DRIFT, TRUST, Trust
from leadline.rounds.worth import LOOK_D, value_at
from leadline.rounds.worth import silent_failure as failed_unseen
from leadline.system.description import System

_SEEN_BY_STREAM = 0.12  # what is left of a test's worth while a live probe watches the same quantity
_ASK_WORTH = 0.12  # an unsettled slip misleads every later estimate of its quantity; judgement
_UNCLAIMED = 0.04  # worth of a test that nobody ever made, of a quantity without a band of its own
_JUST_READ_D = 0.5  # a reading just taken and not in doubt is not asked for again the same day
_FAULTS_PER_YEAR, _UNHEARD_HARM = 2.0, 20.0  # that need somebody at once, and harm-days when nobody hears; judgement
_UNPROVED_WORTH = 0.05  # an unproved path is worth its minute even where others are proved: judgement
_BEFORE_DECLARED_D = 30.0  # how long a machine counts as unproved when it is first described; judgement
_WAIT_D = (1.0, 3.0, 7.0, 14.0, 28.0)


def candidates(
    system: System,
    e: SystemEstimate,
    proved: Mapping[str, dt.datetime],
    live: Mapping[str, dt.datetime],
    since: dt.datetime,
    declared: Mapping[str, dt.datetime] | None = None,
) -> list[Candidate]:
    """All candidates of one system.

    Parameters
    ----------
    proved
        When each equipment, stream or kit was last serviced.
    live
        Last point of each stream, by stream id.
    since
        Beginning of the records: nothing is known of the time before.
    declared
        When each machine and probe was first described that was not there from the beginning.
    """
    found: list[Candidate] = []
    declared = declared or {}
    watched = {
        s.quantity for s in system.streams
        if s.id in live and not s.room and days_between(live[s.id], e.as_of) < 1.0
    }  # fmt: skip
    for q in e.quantities.values():
        found += _questions(system, e, q)
        test = _test(system, e, q, q.quantity in watched)
        if test is not None:
            found.append(test)
        dose = _correct(system, e, q)
        if dose is not None:
            found.append(dose)
    for machine in system.equipment:
        trust = TRUST.get(machine.type)
        if trust is None:
            continue
        reports = machine.stream or machine.id
        seen = reports in live and days_between(live[reports], e.as_of) < 1.0
        known = _standing((machine.id,), proved, since, declared.get(machine.id))
        found.append(_prove(system, e, machine.id, trust, known, "inspect", seen))
    for stream in system.streams:
        silent = days_between(live[stream.id], e.as_of) if stream.id in live else 0.0
        if silent > max(10.0 * stream.period_s / 86400.0, 0.25) and not stream.room:
            found.append(_silent(e, stream.id, silent))
        trust = DRIFT.get(stream.quantity)
        if trust is None or stream.room:
            continue
        names = (stream.id, stream.quantity, f"{stream.id}-probe")
        known = _standing(names, proved, since, declared.get(stream.id))
        found.append(_prove(system, e, stream.id, trust, known, "service", False))
    return found


def _questions(system: System, e: SystemEstimate, q: QuantityEstimate) -> list[Candidate]:
    """Follow-ups of slips: the entry stays as typed and the keeper is asked."""
    out = []
    for d in q.doubtful:
        if d.kind != "slip" or d.guess_value is None:
            continue
        when = figures.day(d.time, zone(e.time_zone), e.as_of)
        would = figure(d.guess_value, None, q.quantity, e.units)
        expected = figure(d.expected, d.expected_sd, q.quantity, e.units)
        because = _(
            "{typed} on {day} looks like {guess}: that would be {would}, and {expected} was expected. "
            "It stands as typed until you say."
        ).format(typed=d.typed, day=when, guess=d.guess, would=would, expected=expected)
        evidence = (
            Evidence(_("typed"), d.typed),
            Evidence(_("expected"), str(expected)),
            Evidence(_("would be"), str(would)),
        )
        out.append(
            Candidate(
                "ask", q.quantity, "today", 1.0, _ASK_WORTH, d.probability, because, evidence, e.system, d.id, None
            )
        )
    return out


def _noise(system: System, q: QuantityEstimate) -> tuple[float, float]:
    """Repeatability of the usual method, and its minutes."""
    method = system.method(q.quantity, q.last_reading.method if q.last_reading else "")
    return (method.sd**2 + (method.relative * abs(q.mean)) ** 2) ** 0.5, max(method.minutes, 0.5)


def _test(system: System, e: SystemEstimate, q: QuantityEstimate, watched: bool) -> Candidate | None:
    if q.aim is None:
        return None
    noise, minutes = _noise(system, q)
    share = _SEEN_BY_STREAM if watched else 1.0
    if q.band_is_default:  # nobody said that this quantity matters here
        share *= _UNCLAIMED if q.last_reading is None else 0.8
    worth = share * value_at(q, noise).test
    risk = max(q.p_outside_aim, q.p_outside_limit)
    doubt = next((d for d in q.doubtful if d.kind in ("blunder", "step")), None)
    if doubt is None and q.last_reading and days_between(q.last_reading.time, e.as_of) < _JUST_READ_D:
        share *= 0.15
        worth = share * value_at(q, noise).test
    until = None
    if worth / minutes < FLOOR_WORTH:
        until = _ripens(e, q, noise, minutes, share)
    urgency = _urgency(worth, minutes, q if q.last_reading or not q.band_is_default else None)
    sentence = words.test(e, q, doubt, watched)
    evidence = [
        Evidence(_("chance outside aim"), round(q.p_outside_aim, 4)),
        Evidence(_("chance past limit"), round(q.p_outside_limit, 5)),
    ]
    if q.last_reading:
        evidence.insert(
            0, Evidence(_("days since last reading"), round(days_between(q.last_reading.time, e.as_of), 1), "d")
        )
    evidence.append(Evidence(_("value of the test"), round(worth, 5), "harm-days"))
    return Candidate(
        "test",
        q.quantity,
        urgency,
        minutes,
        worth,
        risk,
        sentence,
        tuple(evidence),
        e.system,
        doubt.id if doubt else "",
        until,
    )


def _ripens(e: SystemEstimate, q: QuantityEstimate, noise: float, minutes: float, share: float) -> dt.datetime:
    """When a test would become worth its minutes."""
    before_d, before = 0.0, share * value_at(q, noise).test / minutes
    if share * value_at(q, noise, _WAIT_D[-1]).test / minutes < FLOOR_WORTH:  # most are quiet, and one look says so
        return e.as_of + dt.timedelta(days=_WAIT_D[-1])
    for days in _WAIT_D:
        now = share * value_at(q, noise, days).test / minutes
        if now >= FLOOR_WORTH:
            part = (FLOOR_WORTH - before) / max(now - before, 1e-12)
            return e.as_of + dt.timedelta(days=before_d + part * (days - before_d))
        before_d, before = days, now
    return e.as_of + dt.timedelta(days=_WAIT_D[-1])


def _urgency(worth: float, minutes: float, q: QuantityEstimate | None) -> str:
    per_minute = worth / minutes
    if q is not None:
        soon = q.forecast[0].p_reaches_limit if q.forecast else 0.0
        if worth >= 0.2 or (per_minute >= FLOOR_WORTH and max(q.p_outside_limit, soon) > 0.25):
            return "now"
    elif worth >= 0.2:
        return "now"
    if worth >= 0.07:
        return "today"
    return "week" if per_minute >= FLOOR_WORTH else "later"


def _correct(system: System, e: SystemEstimate, q: QuantityEstimate) -> Candidate | None:
    """A dose, an exchange or a search for the cause, where today's belief is firm enough to act on."""
    if q.aim is None or q.last_reading is None or any(d.kind in ("slip", "blunder") for d in q.doubtful):
        return None
    if q.band_is_default and q.p_outside_limit < 0.3:  # nobody said that this quantity matters here
        return None
    noise, _minutes = _noise(system, q)
    look = 2 * LOOK_D
    v = value_at(q, noise, 0.0, look)
    low, high = q.aim
    soon = next(o for o in q.forecast if o.days >= 14.0)
    heading_out = (soon.mean < low and q.mean < high) or (soon.mean > high and q.mean > low)
    firm = q.sd < 0.35 * (high - low) or q.p_outside_aim > 0.85  # else a test comes first
    if v.dose <= 0.0 or not heading_out or not firm or v.test > v.dose:
        return None
    worth = v.dose * LOOK_D / look
    advice = corrections.advise(e, q)
    if advice is None:
        return None
    action, minutes, sentence = advice.action, advice.minutes, f"{corrections.standing(e, q)} {advice.words}"
    evidence = (
        Evidence(_("expected in 14 days"), round(soon.mean, 4), q.unit),
        Evidence(_("chance outside aim in 14 days"), round(soon.p_outside_aim, 3)),
        Evidence(_("harm avoided"), round(v.dose, 4), "harm-days"),
    )
    return Candidate(
        action, q.quantity, _urgency(worth, minutes, q), minutes, worth, soon.p_outside_aim, sentence, evidence,
        e.system, "", q.meets_edge,
    )  # fmt: skip


def alarm_path(system: str, subject: str, said: str, nobody: float, once_proved: float) -> Candidate:
    """An alarm path that is not known to work: the harm of a night in which nobody hears.

    Parameters
    ----------
    subject
        The path and its person, in words.
    said
        How far it is proved.
    nobody, once_proved
        Chance that an alarm tonight reaches nobody, now and with this path proved.
    """
    nights = _FAULTS_PER_YEAR / 365.25 * LOOK_D
    worth = max(nights * _UNHEARD_HARM * (nobody - once_proved), _UNPROVED_WORTH)
    because = _("{proof}. The chance that an alarm tonight reaches nobody is {chance}.").format(
        proof=said[:1].upper() + said[1:], chance=chance(nobody)
    )
    evidence = (
        Evidence(_("chance that nobody is reached"), round(nobody, 5)),
        Evidence(_("the same with this path proved"), round(once_proved, 5)),
        Evidence(_("faults a year that need somebody at once"), _FAULTS_PER_YEAR, "judgement"),
    )
    return Candidate("prove", subject, _urgency(worth, 1.0, None), 1.0, worth, nobody, because, evidence, system)


def _silent(e: SystemEstimate, stream: str, days: float) -> Candidate:
    """A probe from which nothing comes any more: silence is a finding."""
    because = _("Nothing has come from {stream} for {span}: look at probe, cable, power and network.").format(
        stream=stream, span=span(days)
    )
    evidence = (Evidence(_("days without a point"), round(days, 2), "d"),)
    return Candidate("inspect", stream, _urgency(0.3, 3.0, None), 3.0, 0.3, 1.0, because, evidence, e.system)


@dataclass(frozen=True, slots=True)
class _Standing:
    """Since when a machine or probe may have failed unseen, and what is known of it."""

    since: dt.datetime
    words: str  # with the gaps {span}, {chance} and {proof}
    counted: dt.datetime  # from where the span is


def _standing(
    names: tuple[str, ...], proved: Mapping[str, dt.datetime], begin: dt.datetime, declared: dt.datetime | None
) -> _Standing:
    last = max((proved[k] for k in names if k in proved), default=None)
    if last is not None:
        words = N_("Last proved {span} ago: {chance} that it has failed or drifted unseen. {proof}.")
        return _Standing(last, words, last)
    if declared is not None and declared > begin:
        words = N_("Declared {span} ago, not proved since: {chance} that it has failed or drifted unseen. {proof}.")
        return _Standing(max(begin, declared - dt.timedelta(days=_BEFORE_DECLARED_D)), words, declared)
    words = N_("No proof in {span} of records: {chance} that it has failed or drifted unseen. {proof}.")
    return _Standing(begin, words, begin)


def _prove(
    system: System,
    e: SystemEstimate,
    subject: str,
    trust: Trust,
    known: _Standing,
    action: str,
    seen: bool,
) -> Candidate:
    days = days_between(known.since, e.as_of)
    p = failed_unseen(trust.per_year, days)
    worth = p * trust.harm * (1.0 - trust.seen) * (0.3 if seen else 1.0)
    until = None
    if worth / trust.minutes < FLOOR_WORTH and worth > 0:
        until = e.as_of + dt.timedelta(days=min(days * (FLOOR_WORTH * trust.minutes / worth - 1.0) + 1.0, 365.0))
    counted = span(days_between(known.counted, e.as_of))
    sentence = _(known.words).format(span=counted, chance=chance(p), proof=_(trust.what).capitalize())
    if trust.caution:
        sentence += f" {_(trust.caution)}"
    evidence = (
        Evidence(_("days since proof"), round(days, 1), "d"),
        Evidence(_("failures per year assumed"), trust.per_year, trust.origin),
        Evidence(_("chance of silent failure"), round(p, 4)),
    )
    urgency = _urgency(worth, trust.minutes, None)
    return Candidate(action, subject, urgency, trust.minutes, worth, p, sentence, evidence, e.system, "", until)
