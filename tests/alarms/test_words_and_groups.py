"""What is said, by which code it is answered, what explains what, what is quiet during which work."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leadline.alarms import codes, groups, message
from leadline.alarms.alarm import Alarm, State
from leadline.alarms.decide import Priority, again_s, priority
from leadline.alarms.first_steps import first_step
from leadline.alarms.raised import Raised
from leadline.alarms.works import KINDS, Work

HOUR = 3600.0
TYPES = {"chiller-1": "chiller", "heater-1": "heater", "topoff-1": "topoff", "return-pump": "pump"}


def raised(name="chiller-1-warms", subject="chiller-1", began=0.0, holds=True, because="Chiller-1 warms the water.",
           harm=6.5 * HOUR, cause=""):  # fmt: skip
    state = State.UNACKNOWLEDGED if holds else State.NORMAL
    return Raised("reef", Alarm(name, state, holds), subject, Priority.HIGH, 26.4, because, began, harm, cause)


def test_a_message_says_what_since_when_how_long_left_what_first():
    text = message.body(raised(), "Great reef", "UTC", 20 * 60.0, TYPES)
    lines = text.split("\n")
    assert lines[0] == "Chiller-1 warms the water."
    assert lines[1] == "Since 00:00 (20 min ago), in Great reef."
    assert lines[2] == "Time left: about 6 h 10 min, until 06:30."
    assert lines[3].startswith("First: Take chiller-1 off its supply")
    assert "licensed electrician" in lines[3]


def test_the_subject_is_one_line_whatever_stands_in_it():
    bad = raised(name="x\r\nBcc: all", because="a\nb")
    assert "\n" not in message.subject(bad, "Reef\r\nTo: y")
    assert "\r" not in message.subject(bad, "Reef\r\nTo: y")
    assert message.body(bad, "Reef", "UTC", 0.0).startswith("A b\n")


@pytest.mark.law
@given(st.text())
def test_text_from_outside_becomes_one_harmless_line(text):
    said = message.plain(text, 100)
    assert len(said) <= 100
    assert all(c.isprintable() for c in said)


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(40, "40 s"), (720, "12 min"), (12000, "3 h 20 min"), (7200, "2 h"), (187200, "2 d 4 h"), (-5, "0 s")],
)
def test_spans_as_one_says_them(seconds, said):
    assert message.span(seconds) == said


def test_codes_differ_by_everything_they_are_for():
    made = {
        codes.reply_code(k, m, p, w)
        for k in (b"1" * 32, b"2" * 32) for m in "ab" for p in "cd" for w in "ef"
    }  # fmt: skip
    assert len(made) == 16
    assert codes.link_code(b"k" * 32, "m", "p", "w") != codes.link_code(b"k" * 32, "m", "pw", "")


def test_a_code_is_read_as_people_type_it():
    right = "7QK4F-90M21"
    assert codes.same("7qk4f-9om2i", right)  # O for 0, I for 1, small letters
    assert not codes.same("7QK4F-90M22", right)
    assert not codes.same("", right)
    assert not codes.same("é", right)


def test_a_code_has_fifty_bits():
    seen = "".join(codes.reply_code(b"k" * 32, str(n), "p", "w").replace("-", "") for n in range(400))
    assert len(seen) == 4000
    assert set(seen) == set("0123456789ABCDEFGHJKMNPQRSTVWXYZ")


@pytest.mark.parametrize(
    ("name", "subject", "standing", "cause"),
    [
        ("temperature-heading-high", "temperature", [raised()], "chiller-1-warms"),
        ("temperature-high", "temperature", [raised("temperature-heading-high", "temperature")],
         "temperature-heading-high"),
        ("heater-1-never-off", "heater-1", [raised()], "chiller-1-warms"),
        ("salinity-high", "salinity", [raised()], ""),
        ("ph-silent", "ph", [raised("all-streams-silent", "all-streams")], "all-streams-silent"),
        ("temperature-silent", "temperature", [raised()], ""),  # a dead probe is not explained by what it measures
        ("temperature-high", "temperature", [raised(holds=False)], ""),
        ("temperature-high", "temperature", [raised(began=-25 * HOUR)], ""),
        ("temperature-high", "temperature",
         [raised("temperature-heading-high", "temperature", cause="chiller-1-warms")], "chiller-1-warms"),
    ],
)  # fmt: skip
def test_what_explains_what(name, subject, standing, cause):
    assert groups.cause_of(name, subject, 0.0, standing, TYPES) == cause


def test_first_steps_know_the_machine_behind_a_name():
    assert "water come" in first_step("return-pump-weak", "return-pump", TYPES)
    assert "air stone" in first_step("return-pump-stopped", "return-pump", TYPES)
    assert first_step("something-else", "x") == "Look at it, and test by hand before you act."


def test_work_quiets_what_it_would_cause_and_ends():
    work = Work("reef", "exchange", "", "me", 0.0, 90 * 60.0)
    assert work.quiets("temperature-heading-low", 60.0)
    assert work.quiets("topoff-1-runs-on", 60.0)
    assert not work.quiets("temperature-heading-low", 90 * 60.0)
    assert not work.quiets("path-keeper-mail", 60.0)
    assert not work.quiets("watch-disk", 60.0)
    cleaning = Work("reef", "cleaning", "ph", "me", 0.0, 600.0)
    assert cleaning.quiets("ph-out-of-water", 1.0)
    assert not cleaning.quiets("temperature-high", 1.0)


def test_every_kind_of_work_has_an_end():
    for usual, longest, _ in KINDS.values():
        assert 0 < usual <= longest <= 720


@pytest.mark.parametrize(
    ("harm_h", "loud"), [(0.5, "urgent"), (1.0, "urgent"), (5.9, "high"), (24, "medium"), (25, "low"), (None, "medium")]
)
def test_time_to_harm_decides_the_priority(harm_h, loud):
    assert priority(None if harm_h is None else harm_h * HOUR) == loud


def test_what_is_acknowledged_and_not_mended_speaks_again():
    assert again_s(Priority.HIGH, 0.0, 6 * HOUR) == 3 * HOUR
    assert again_s(Priority.URGENT, 0.0, 0.0) == 0.25 * HOUR
    assert again_s(Priority.LOW, 0.0, None) is None
