"""What is said of an estimate."""

import dataclasses

from tests.present.test_course import DAY, NOW, OSLO, estimate

from leadline.estimate.report import Doubtful
from leadline.present import sentences


def test_where_it_stands_and_what_that_rests_on():
    said = sentences.now_said(estimate(), "metric", OSLO, NOW)
    assert said == (
        "66 in 100 that it is outside 34 to 36 psu, 4 in 100 past the limit. "
        "Last fix 35.4 psu, refractometer, 81 days ago."
    )


def test_never_measured_is_said_plainly():
    said = sentences.now_said(estimate(last_reading=None, prior="natural seawater, 35 psu"), "metric", OSLO, NOW)
    assert said == "Never measured. Natural seawater, 35 psu."


def test_never_measured_is_not_said_twice():
    words = "never measured here; a wide belief from common practice"
    said = sentences.now_said(estimate(last_reading=None, prior=words), "metric", OSLO, NOW)
    assert said == "Never measured. A wide belief from common practice."


def test_a_typed_unit_is_printed_as_everywhere_else():
    slip = Doubtful("e1", NOW, 25.0, 25.4, 0.4, "slip", 0.97, "°F typed as °C", 25.0, "77 degC")
    assert sentences.doubt_said(slip, "temperature", "metric", OSLO).startswith("77 °C on ")


def test_rate_and_demand_carry_their_doubt_in_the_shown_unit():
    e = estimate(quantity="alkalinity", unit="meq/L", rate_mean=-0.012, rate_sd=0.004, demand_mean=0.25, demand_sd=0.04)
    # 1 meq/L is 2.804 dKH: -0.012 is -0.034, 0.004 is 0.011; 0.25 is 0.701, 0.04 is 0.112
    assert sentences.rate_said(e, "metric") == "Moves −0.034 ± 0.011 dKH a day; the system takes 0.70 ± 0.11 dKH a day."


def test_the_edge_is_past_or_to_come():
    assert sentences.edge_said(estimate(), OSLO, NOW) == "The spread met the channel's edge on 28 Nov."
    ahead = estimate(meets_edge=NOW + 9 * DAY)
    assert sentences.edge_said(ahead, OSLO, NOW) == "The spread meets the channel's edge on 5 Feb."


def test_a_doubt_says_what_was_typed_what_was_expected_and_that_it_is_kept():
    slip = Doubtful("e1", NOW, 1.034, 2.89, 0.09, "slip", 0.97, "looks like meq/L typed as dKH", 2.9, "2.9 dKH")
    said = sentences.doubt_said(slip, "alkalinity", "metric", OSLO)
    assert said == (
        "2.9 dKH on 27 Jan where 8.1 ± 0.3 dKH was expected: looks like meq/L typed as dKH. It is kept as typed."
    )
    step = dataclasses.replace(slip, kind="step", guess="", probability=0.7)
    assert "70 in 100 that the water really changed" in sentences.doubt_said(step, "alkalinity", "metric", OSLO)


def test_subjects_read_as_a_keeper_says_them():
    assert sentences.titled("ph") == "pH"
    assert sentences.titled("relative_humidity") == "Relative humidity"
    assert sentences.titled("chiller-1") == "Chiller-1"
