"""Probes: each way of seeing wrongly is seen in the stream, and a perfect probe shows the truth."""

import numpy as np
import pytest

from leadline.model.probes import Probe, readings

TIMES = np.arange(0.0, 20 * 86400.0, 300.0)
WAVE = 25.0 + 0.5 * np.sin(2.0 * np.pi * TIMES / 86400.0)


def seen(probe: Probe, truth=WAVE, seed=1):
    return readings(probe, TIMES, truth, np.random.default_rng(seed))


def test_a_perfect_probe_shows_the_truth():
    times, values = seen(Probe(lag_s=0.0))
    assert (times == TIMES).all()
    assert np.abs(values - WAVE).max() < 1e-9


def test_lag_is_first_order():
    # a step seen through a time constant of 900 s: 63.2 % after 900 s, 95.0 % after 2700 s (first-order response)
    step = np.where(TIMES < 86400.0, 25.0, 26.0)
    _, values = seen(Probe(lag_s=900.0), step)
    k = int(86400 / 300)
    assert values[k + 2] == pytest.approx(25.0 + 1.0 - np.exp(-1.0), abs=1e-6)
    assert values[k + 8] == pytest.approx(25.0 + 1.0 - np.exp(-3.0), abs=1e-6)


def test_noise_and_step():
    _, values = seen(Probe(lag_s=0.0, noise=0.05, step=0.1))
    assert np.std(values - WAVE) == pytest.approx(np.hypot(0.05, 0.1 / np.sqrt(12.0)), rel=0.05)
    assert np.abs(values * 10.0 - np.round(values * 10.0)).max() < 1e-6


def test_drift_grows_until_it_is_calibrated():
    _, values = seen(Probe(lag_s=0.0, offset=0.1, drift_per_day=0.02, calibrations=(10 * 86400.0,)))
    off = values - WAVE
    assert off[0] == pytest.approx(0.1)
    assert off[9 * 288] == pytest.approx(0.1 + 0.18)
    assert off[12 * 288] == pytest.approx(0.1 + 0.04)


def test_fouling_flattens_the_day_until_it_is_cleaned():
    _, values = seen(Probe(lag_s=1200.0, fouling_per_day=1.0, cleanings=(15 * 86400.0,)))
    swing = np.ptp(values.reshape(20, 288), axis=1)
    assert swing[14] < 0.65 * swing[1]
    assert swing[17] > 1.2 * swing[14]


def test_stuck_and_silent():
    _, values = seen(Probe(lag_s=0.0, stuck=((86400.0, 2 * 86400.0),)))
    inside = (TIMES >= 86400.0) & (TIMES <= 2 * 86400.0)
    assert np.ptp(values[inside]) == 0.0
    times, _ = seen(Probe(lag_s=0.0, silent=((86400.0, 2 * 86400.0),)))
    assert not ((times >= 86400.0) & (times <= 2 * 86400.0)).any()


def test_spikes_losses_and_bounds():
    times, values = seen(Probe(lag_s=0.0, spikes_per_day=2.0, spike=5.0, loss=0.1, bounds=(24.0, 27.0)))
    assert 0.85 < len(times) / len(TIMES) < 0.95
    wild = np.abs(values - np.interp(times, TIMES, WAVE)) > 0.6
    assert 15 < wild.sum() < 65
    assert values.min() >= 24.0
    assert values.max() <= 27.0


def test_a_wrong_clock_runs_ahead():
    times, _ = seen(Probe(clock_offset_s=120.0, clock_ppm=50.0))
    assert times[0] == pytest.approx(120.0)
    assert times[-1] - TIMES[-1] == pytest.approx(120.0 + 50e-6 * TIMES[-1])


def test_the_same_chance_gives_the_same_stream():
    probe = Probe(noise=0.1, loss=0.05, spikes_per_day=1.0, spike=3.0, jitter_s=5.0)
    assert (seen(probe)[1] == seen(probe)[1]).all()
    assert len(seen(probe, seed=2)[1]) != len(seen(probe)[1]) or (seen(probe, seed=2)[1] != seen(probe)[1]).any()
