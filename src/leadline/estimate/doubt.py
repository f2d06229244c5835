"""Where the doubt of a number comes from: its variance now, parted exactly along the way it was carried."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from leadline.estimate.course import carried
from leadline.estimate.grid import GAIN, KIT1, LEVEL, PROBE, SECOND, transition_noise
from leadline.estimate.reckon import Reckoning


@dataclass(frozen=True, slots=True)
class Share:
    """One part of the variance.

    Attributes
    ----------
    name
        kit | readings | movement | doses | exchanges | wandering | prior
    variance
        In the square of the quantity's stored unit.
    share
        Of the whole, 0 to 1.
    """

    name: str
    variance: float
    share: float


@dataclass(frozen=True, slots=True)
class Weighed:
    """One reading as the estimate judged it. Stored unit.

    Attributes
    ----------
    expected, expected_sd
        What was expected just before it.
    blunder, step
        Chances that it hardly counts, or that the water itself had changed its ways.
    """

    id: str
    day: float
    value: float
    sd: float
    method: str
    expected: float
    expected_sd: float
    blunder: float
    step: float


def shares(r: Reckoning, q: str) -> tuple[Share, ...]:
    """The variance of what is believed of `q` now, by where it comes from; the largest first.

    One Gaussian stands for the grid of filters, as on the course. What the last readings left open is parted once
    more into what an offset of kit or probe would explain (the squared covariance of level and offset over the
    variance of that offset) and the rest.
    """
    t = r.tracks[q]
    now = np.array([r.now])
    _, cov0, walk, gap = carried(r, q, now)
    cov = cov0[0]
    keep, dose, days = float(gap.keep[0]), float(gap.dose[0]), float(gap.days[0])
    open_ = keep**2 * float(cov[LEVEL, LEVEL])
    if not len(t.sightings):
        parts = {"prior": open_}
    else:
        offset = sum(float(cov[LEVEL, k]) ** 2 / float(cov[k, k]) for k in range(KIT1, PROBE + 1) if cov[k, k] > 1e-18)
        offset = keep**2 * min(offset, float(cov[LEVEL, LEVEL]))
        parts = {"kit": offset, "readings": open_ - offset}
    weight = np.exp(t.bank.log_weight[0])
    f, e, q00, _, _ = (float(x[0]) for x in transition_noise(np.array([days]), np.array([t.theta]), walk))
    parts["wandering"] = float((weight * t.level_walk).sum()) * days
    if t.departs:
        parts["movement"] = (
            2 * keep * e * float(cov[LEVEL, SECOND])
            + e**2 * float(cov[SECOND, SECOND])
            + float((weight * t.departure).sum()) * (1 - e**2)
        )
    else:
        slow = f * (1 + keep) / 2
        parts["movement"] = 2 * keep * slow * float(cov[LEVEL, SECOND]) + slow**2 * float(cov[SECOND, SECOND]) + q00
        parts["doses"] = dose**2 * float(cov[GAIN, GAIN]) + 2 * dose * (
            keep * float(cov[LEVEL, GAIN]) + slow * float(cov[SECOND, GAIN])
        )
    parts["exchanges"] = float(gap.var[0])
    whole = sum(parts.values())
    found = [Share(name, v, v / whole if whole > 0 else 0.0) for name, v in parts.items()]
    return tuple(sorted((s for s in found if abs(s.share) >= 0.005), key=lambda s: -s.share))


def weighed(r: Reckoning, q: str, most: int = 12) -> tuple[Weighed, ...]:
    """The last readings by hand as the estimate judged each of them, the latest first."""
    t = r.tracks[q]
    s = t.sightings
    hand = [k for k in range(len(s) - 1, -1, -1) if s.ids[k]][:most]
    judged = len(t.expected) == len(s)
    return tuple(
        Weighed(
            s.ids[k], float(s.t[k]), float(s.value[k]), float(np.hypot(s.noise_sd[k], s.relative[k] * s.value[k])),
            s.methods[k], float(t.expected[k]) if judged else float("nan"),
            float(t.expected_sd[k]) if judged else float("nan"),
            float(t.hypotheses[k, 1]), float(t.hypotheses[k, 2]),
        )
        for k in hand
    )  # fmt: skip
