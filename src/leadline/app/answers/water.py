"""Estimate and round as JSON: the contract's `leadline.estimate/1` and `leadline.round/1`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from leadline.estimate.report import QuantityEstimate, SystemEstimate
    from leadline.rounds.item import Round


def estimate(e: SystemEstimate) -> dict[str, Any]:
    """The contract's `leadline.estimate/1`."""
    return {
        "schema": "leadline.estimate/1",
        "system": e.system,
        "as_of": e.as_of,
        "net_volume": {
            "unit": "L", "mean": e.net_volume_l, "sd": e.net_volume_sd_l, "stated": e.net_volume_stated_l,
        },
        "warnings": list(e.warnings),
        "quantities": {name: _quantity(q) for name, q in e.quantities.items()},
    }  # fmt: skip


def _quantity(q: QuantityEstimate) -> dict[str, Any]:
    last = q.last_reading
    has_aim, has_limit = q.aim is not None, q.limit is not None
    return {
        "unit": q.unit, "mean": q.mean, "sd": q.sd,
        "q05": q.q05, "q25": q.q25, "q50": q.q50, "q75": q.q75, "q95": q.q95,
        "rate_per_day": {"mean": q.rate_mean, "sd": q.rate_sd},
        "demand_per_day": None if q.demand_mean is None else {"mean": q.demand_mean, "sd": q.demand_sd},
        "last_reading": None if last is None else {
            "time": last.time, "value": last.value, "sd": last.sd, "method": last.method, "id": last.id,
        },
        "never_measured": last is None,
        "prior": q.prior,
        "aim": list(q.aim) if q.aim else None,
        "limit": list(q.limit) if q.limit else None,
        "band_is_default": q.band_is_default,
        "p_outside_aim": q.p_outside_aim if has_aim else None,
        "p_outside_limit": q.p_outside_limit if has_limit else None,
        "meets_edge": q.meets_edge,
        "forecast": [
            {
                "days": o.days, "mean": o.mean, "sd": o.sd,
                "p_outside_aim": o.p_outside_aim if has_aim else None,
                "p_outside_limit": o.p_outside_limit if has_limit else None,
                "p_reaches_limit": o.p_reaches_limit if has_limit else None,
            }
            for o in q.forecast
        ],
        "doubtful": [
            {
                "id": d.id, "time": d.time, "typed": d.typed, "value": d.value, "expected": d.expected,
                "expected_sd": d.expected_sd, "kind": d.kind, "probability": d.probability, "guess": d.guess,
                "guess_value": d.guess_value,
            }
            for d in q.doubtful
        ],
    }  # fmt: skip


def round_(r: Round) -> dict[str, Any]:
    """The contract's `leadline.round/1`."""
    return {
        "schema": "leadline.round/1",
        "system": r.system or None,
        "as_of": r.as_of,
        "minutes": r.minutes,
        "items": [
            {
                "rank": k, "action": c.action, "subject": c.subject, "system": c.system, "urgency": c.urgency,
                "minutes": c.minutes, "because": c.because, "risk": c.risk, "worth": c.worth,
                "entry": c.entry_id or None,
                "evidence": [{"what": v.what, "value": v.value, "unit": v.unit} for v in c.evidence],
            }
            for k, c in enumerate(r.items, 1)
        ],
        "left_for_later": [
            {
                "action": x.action, "subject": x.subject, "system": x.system, "until": x.until, "because": x.because,
                "minutes": x.minutes,
            }
            for x in r.left_for_later
        ],
    }  # fmt: skip
