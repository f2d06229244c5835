"""Whatever was written down, an answer is an answer: finite, ordered, and of what was known."""

from __future__ import annotations

import contextlib
import datetime as dt
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from tests.app.keeper import NOW, SMALL

from leadline.app import record
from leadline.app.answers import water, written
from leadline.estimate.outlook import estimate
from leadline.estimate.reckon import reckon
from leadline.journal.entry import KINDS, Entry, content_id
from leadline.measures.errors import LeadlineError
from leadline.measures.quantities import QUANTITIES
from leadline.system.description import parse

pytestmark = pytest.mark.law
SYSTEM = parse(SMALL.format(volume_sd=40))
UNITS = {"alkalinity": ["dKH", "meq/L", "ppm CaCO3"], "salinity": ["psu", "sg@25/25", "mS/cm"],
         "temperature": ["degC", "degF"], "nitrate": ["mg/L", "mg/L as N"], "phosphate": ["ug/L P"]}  # fmt: skip
USUAL = {"alkalinity": 8.0, "salinity": 35.0, "temperature": 25.0, "calcium": 420.0, "magnesium": 1300.0,
         "nitrate": 5.0,
         "phosphate": 20.0, "ph": 8.1, "potassium": 400.0, "ammonia": 0.01, "iodine": 60.0, "oxygen": 6.5, "orp": 350.0,
         "strontium": 8.0, "copper": 1.0}  # fmt: skip
SUBSTANCES = ["sodium-bicarbonate", "calcium-chloride-dihydrate", "magnesium-chloride-hexahydrate", "sea-salt", "tonic",
              "ethanol-40", "sodium-nitrate", "hydrochloric-acid-10"]  # fmt: skip


@st.composite
def entries(draw, most=40):
    found = []
    for _ in range(draw(st.integers(0, most))):
        kind = draw(st.sampled_from([*KINDS, "reading", "reading", "reading", "reading", "addition", "exchange"]))
        ago = draw(st.sampled_from([0.0, 1e-5, 0.5, 3.0, 30.0, 200.0, 3000.0])) * draw(st.floats(0, 1))
        when = NOW - dt.timedelta(days=ago)
        times = draw(st.sampled_from([0.0, 1e-3, 0.1, 0.35, 0.9, 1.0, 1.0, 1.0, 1.02, 1.1, 2.8, 10.0, 1000.0]))
        subject, unit, value, method = "", "", None, ""
        extra: dict[str, object] = {}
        if kind == "reading":
            subject = draw(st.sampled_from(sorted(USUAL)))
            unit = draw(st.sampled_from(UNITS.get(subject, [""])))
            value = USUAL[subject] * times
            method = draw(st.sampled_from(["", "titration", "refractometer", "temperature", "photometer"]))
        elif kind == "addition":
            subject, unit = draw(st.sampled_from(SUBSTANCES)), draw(st.sampled_from(["g", "mL", "kg"]))
            value, method = 10.0 * times, draw(st.sampled_from(["", "doser-1"]))
        elif kind in ("exchange", "topoff"):
            subject = draw(st.sampled_from(["mixed-seawater", "ro", "tap", "natural-seawater", "mystery"]))
            unit, value = "L", 40.0 * times
            if draw(st.booleans()):
                extra = {"salinity": 35.0 * times, "nitrate": times, "volume_out": 30.0 * times}
        elif kind == "feeding":
            subject, unit, value = draw(st.sampled_from(["pellets", "frozen-mysid", "cake"])), "g", 2.0 * times
        elif kind == "service":
            subject = draw(st.sampled_from(["heater-1", "alkalinity-kit", "temperature", "salinity"]))
            method = draw(st.sampled_from(["calibrated", "new-lot", "cleaned"]))
        else:
            subject = "something"
        sd = draw(st.sampled_from([None, None, None, 1e-6, 1.0])) if kind == "reading" else None
        recorded = draw(st.sampled_from([None, None, when, NOW]))
        e = Entry(
            when, "small", kind, subject, value, unit, method, sd, recorded_at=recorded, extra=extra,
            to="elsewhere" if kind == "transfer" else "",
        )  # fmt: skip
        with contextlib.suppress(LeadlineError):  # refused at the door: never written
            e = record.understood(None, SYSTEM, e)[0]  # type: ignore[arg-type]
            found.append(replace(e, id=content_id(e)))
    return found


def finite(x):
    return x is None or math.isfinite(x)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(entries())
def test_every_answer_is_finite_and_in_order(found):
    with np.errstate(all="raise", under="ignore"):
        r = reckon(SYSTEM, found, NOW)
        e = estimate(r)
    for name, q in e.quantities.items():
        low, _ = QUANTITIES[name].span
        numbers = [q.mean, q.sd, q.q05, q.q25, q.q50, q.q75, q.q95, q.rate_mean, q.rate_sd, q.p_outside_aim]
        numbers += [
            x for o in q.forecast for x in (o.mean, o.sd, o.p_outside_aim, o.p_outside_limit, o.p_reaches_limit)
        ]
        assert all(map(finite, numbers)), name
        assert q.sd > 0
        assert q.q05 <= q.q25 <= q.q50 <= q.q75 <= q.q95
        for p in [q.p_outside_aim, q.p_outside_limit, *(o.p_reaches_limit for o in q.forecast)]:
            assert -1e-12 <= p <= 1 + 1e-12
        if low >= 0 and name in ("nitrate", "phosphate", "ammonia", "copper", "iodine"):
            assert q.q05 >= 0
    assert e.net_volume_l > 0
    assert e.net_volume_sd_l > 0
    written(water.estimate(e))


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(entries(), st.floats(0, 40))
def test_an_answer_as_of_then_knows_nothing_later(found, ago):
    then = NOW - dt.timedelta(days=ago)
    known = [e for e in found if e.known_at <= then]
    a, b = estimate(reckon(SYSTEM, found, then)), estimate(reckon(SYSTEM, known, then))
    assert a == b


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(entries(25))
def test_every_round_can_be_said(tmp_path_factory, found):
    from tests.app.keeper import Keeper

    keeper = Keeper(tmp_path_factory.mktemp("any"))
    keeper.store.add_entries(found)
    r = keeper.round(15.0)
    assert sum(c.minutes for c in r.items) <= 15.0
    text = written(water.round_(r))
    assert "nan" not in text.lower().replace("nano", "")
    for c in r.items:
        assert c.because
        assert 0 <= c.risk <= 1
        assert math.isfinite(c.worth)
    keeper.close()


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    phases=[Phase.generate],
)
@given(entries(30))
def test_the_order_of_writing_does_not_matter_without_corrections(found):
    """The same rows from two files in either order give the same answer, as long as no two are of one moment."""
    moments = {e.time for e in found}
    if len(moments) < len(found):
        return
    a, b = (estimate(reckon(SYSTEM, rows, NOW)) for rows in (found, found[::-1]))
    for q, one in a.quantities.items():
        other = b.quantities[q]
        assert one.mean == pytest.approx(other.mean, rel=1e-6, abs=1e-9)
        assert one.sd == pytest.approx(other.sd, rel=1e-6)
