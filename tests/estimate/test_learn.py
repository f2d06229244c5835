"""Learning on simulated systems of another structure, and what it says when the records are silent."""

import numpy as np
import pytest
from bench.other_structure import BEGIN, batch, judge

from leadline.estimate import learn
from leadline.model import kernel

pytestmark = pytest.mark.skipif(not kernel.available(), reason="numba is not installed")


@pytest.fixture(scope="module")
def cases():
    """Ten systems of one description, none of them used in tuning."""
    return batch(40, 10)


def test_the_truth_lies_inside_the_interval_on_other_laws(cases, compiled_folder):
    """The whole count is `python -m bench learning`; here ten systems, and room for chance: 90 % of 60 or so is 54."""
    found = judge(cases, compiled_folder)
    inside, of = sum(j.inside for j in found.values()), sum(j.of for j in found.values())
    assert of >= 50
    assert inside >= 0.8 * of
    assert found["calcification"].gained > 0.5
    assert found["nitrate-export"].gained > 0.4


def test_what_the_records_cannot_tell_is_named(cases, compiled_folder):
    case = cases[0]
    window = learn.Records(case.window.days, [r for r in case.window.readings if r[1] in ("alkalinity", "nitrate")])
    found = learn.fit(case.plan, window, case.start, case.acts, BEGIN, cache=compiled_folder)
    assert "heat-loss" not in found.learned  # nothing speaks of heat
    assert "gas-exchange" not in found.learned
    assert "calcification" in found.learned
    assert "volume" in found.silent


def test_a_blunder_hardly_moves_what_is_learned(cases, compiled_folder):
    case = cases[1]
    plain = learn.fit(case.plan, case.window, case.start, case.acts, BEGIN, cache=compiled_folder)
    wrong = list(case.window.readings)
    k = next(i for i, r in enumerate(wrong) if r[1] == "alkalinity" and i > 20)
    wrong[k] = (wrong[k][0], "alkalinity", wrong[k][2] * 2.804, wrong[k][3])  # meq/L typed as dKH, the other way round
    blundered = learn.fit(
        case.plan, learn.Records(case.window.days, wrong, dict(case.window.hourly)), case.start, case.acts, BEGIN,
        cache=compiled_folder,
    )  # fmt: skip
    a, b = plain.learned["calcification"], blundered.learned["calcification"]
    assert abs(np.log(b.q50 / a.q50)) < np.log(a.q95 / a.q05) / 3.29  # less than its own sd


def test_nothing_to_learn_from_is_refused(cases, compiled_folder):
    case = cases[0]
    with pytest.raises(ValueError, match="nothing to learn from"):
        learn.fit(case.plan, learn.Records(30), case.start, case.acts, BEGIN, cache=compiled_folder)
