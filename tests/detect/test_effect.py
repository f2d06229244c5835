"""What a chiller moves: against the synthetic case of the sheet (8.2), which is not ours."""

from __future__ import annotations

import numpy as np
import pytest

from leadline.detect.effect import Moved, blocks, moved, together

C, UA, QP, QC, ROOM = 1.6e6, 15.0, 80.0, 450.0, 27.0


def plant(minutes: int, noise: float, seed: int, effect=lambda i: 1.0, on_above=25.3, off_below=24.8):
    """The sheet's plant: C dT/dt = UA (27 − T) + 80 − 450 u, one-minute steps, on above 25.3, off below 24.8."""
    rng = np.random.default_rng(seed)
    t, u = np.empty(minutes + 1), np.zeros(minutes + 1)
    t[0], on = 25.5, 0
    for i in range(minutes):
        on = 1 if t[i] > on_above else 0 if t[i] < off_below else on
        u[i] = on
        t[i + 1] = t[i] + 60.0 * (UA * (ROOM - t[i]) + QP - QC * effect(i) * on) / C
    u[-1] = on
    return np.arange(minutes + 1) * 60.0, t + noise * rng.standard_normal(minutes + 1), u


@pytest.mark.published
def test_rls_4_of_the_sheet():
    """UA fixed at 15: Qc 450.94 with a standard error of 1.36 (other seeds: within four of them)."""
    times, warm, state = plant(7 * 1440, 0.01, 4)
    found = moved(blocks(times, warm, state), C, UA, ROOM)
    assert found.watts == pytest.approx(-450.0, abs=4 * 1.5)
    assert 0.5 < found.sd < 3.0


@pytest.mark.published
def test_rls_5_a_chiller_that_lost_30_percent():
    """Of the last days only: 315 W."""
    times, warm, state = plant(7 * 1440, 0.01, 5, lambda i: 1.0 if i < 3 * 1440 else 0.7)
    late = times > 5 * 86400.0
    found = moved(blocks(times[late], warm[late], state[late]), C, UA, ROOM)
    assert found.watts == pytest.approx(-315.0, abs=8.0)
    assert found.watts + 1.645 * found.sd > -0.8 * QC  # clearly less than four fifths of what it moved


def test_a_chiller_that_warms_has_the_other_sign():
    times, warm, state = plant(600, 0.01, 6, lambda i: -0.4, on_above=25.3)
    state[::120] = 0.0  # it is switched off now and then
    for k in range(0, 600, 120):
        state[k : k + 40] = 0.0
    rng = np.random.default_rng(7)
    warm = np.empty(601)
    warm[0] = 25.5
    for i in range(600):
        warm[i + 1] = warm[i] + 60.0 * (UA * (ROOM - warm[i]) + QP + 180.0 * state[i]) / C
    found = moved(blocks(times, warm + 0.01 * rng.standard_normal(601), state), C, UA, ROOM)
    assert found.watts == pytest.approx(180.0, abs=4 * found.sd + 1.0)
    assert found.watts > 1.645 * found.sd


def test_too_few_blocks_say_nothing():
    times, warm, state = plant(40, 0.01, 8)
    assert moved(blocks(times, warm, state), C) is None


def test_the_standard_error_is_honest():
    """Over forty seeds the truth lies within 1.645 standard errors about nine times in ten (binomial: 31 or more)."""
    inside = 0
    for seed in range(40):
        times, warm, state = plant(2 * 1440, 0.02, 100 + seed)
        found = moved(blocks(times, warm, state), C, UA, ROOM)
        inside += abs(found.watts + QC) < 1.645 * found.sd
    assert inside >= 31


def test_several_answers_together_are_the_inverse_variance_mean():
    """By hand: 300 ± 30 and 360 ± 60 weigh 4 to 1: 312, with sd 30·√0.8 = 26.83."""
    both = together([Moved(300.0, 30.0, 3, 3), Moved(360.0, 60.0, 3, 3)])
    assert both.watts == pytest.approx(312.0)
    assert both.sd == pytest.approx(26.83, abs=0.01)
    assert both.blocks_on == 6
