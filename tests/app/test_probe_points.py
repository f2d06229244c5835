"""What the estimate is given of a probe's points."""

from __future__ import annotations

import datetime as dt

import numpy as np
from tests.app.keeper import NOW

from leadline.app import describe, enquire


def test_a_later_question_of_the_same_day_sees_the_old_points_unchanged(keeper):
    """Else an answer continued from the last one would differ from one reckoned anew."""
    times = keeper.at(-90.0).timestamp() + np.arange(0.0, 90.5 * 86400.0, 600.0)
    values = 25.5 + 0.4 * np.random.default_rng(4).standard_normal(times.size)
    keeper.store.add_points("small", "temperature", times, values)
    system = describe.load(keeper.store, "small")

    def old(hours: float) -> list[tuple[float, float]]:
        found = enquire.probes(keeper.store, system, NOW + dt.timedelta(hours=hours))
        t, v = found["temperature"]["temperature"]
        return [(float(a), float(b)) for a, b in zip(t, v, strict=True) if a < NOW.timestamp() / 86400.0 - 3.5]

    assert len(old(0.0)) > 100
    assert old(0.0) == old(0.1) == old(9.0)
