"""What falls due: windows, days and people against stores made by hand, answers worked out by hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from tests.app import household
from tests.app.household import ORDERS
from tests.app.keeper import Keeper, quiet_year

from leadline.app import choose, describe, due, path_book, stand_orders
from leadline.journal.entry import Entry, content_id
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import FixedClock, parse
from leadline.wiring import open_store

pytestmark = pytest.mark.story
UNIT = """
[system]
id = "isolation"
name = "Isolation"
time_zone = "Europe/Oslo"
net_volume = "90 L"
purpose = "quarantine"
"""
D = dt.date


def entry(when: dt.datetime, sort: str, subject: str, value: float | None = None, system="isolation", **more):
    fields = {k: more.pop(k) for k in ("source", "to", "unit", "stored") if k in more}
    return Entry(when, system, sort, subject, value, extra=more, **fields)


def unit(folder, *entries: Entry, document: str = UNIT):
    store = open_store(str(folder / "unit.db"))
    describe.add(store, FixedClock(parse("2026-01-01")), document)
    store.add_entries([replace(e, id=content_id(e)) for e in entries])
    return store


def frags(dipped: dt.datetime):
    """Acropora that came and were dipped, in water of 27 °C since: at 27 °C the next dip belongs to day 14 to 26
    (biology 1.1, from Barton et al. 2019: the numbers of tests/livestock/test_quarantine.py)."""
    warm = [
        entry(dipped + dt.timedelta(days=k), "reading", "temperature", 27.0, unit="degC", stored=27.0) for k in range(7)
    ]
    return [
        entry(dipped, "arrival", "frags", 3, source="shop", kind="acropora"),
        entry(dipped, "treatment", "dip", agent="potassium-chloride-dip", base="removed"),
        *warm,
    ]


def told(store, now: str, days: int = 7, **more):
    clock = FixedClock(parse(now))
    return due.due(store, clock, None, days, **more).lines


def one(lines, action, start):
    found = [d for d in lines if d.action == action and d.subject.startswith(start)]
    assert len(found) == 1, [(d.action, d.subject) for d in lines]
    return found[0]


# -- windows -------------------------------------------------------------------------------------------------


@pytest.mark.published
def test_a_window_stands_on_its_first_day_with_its_last_beside_it(tmp_path):
    store = unit(tmp_path, *frags(parse("2026-05-10T12:00Z")))
    ahead = one(told(store, "2026-05-20T08:00Z"), "treat", "again")
    assert (ahead.begins, ahead.until) == (parse("2026-05-24T12:00Z"), parse("2026-06-05T12:00Z"))  # day 14 and 26
    assert (ahead.day, ahead.last, ahead.minutes) == (D(2026, 5, 24), D(2026, 6, 5), 20.0)
    assert ahead.page == "/livestock/isolation/quarantine#dip-2"
    inside = one(told(store, "2026-05-30T08:00Z"), "treat", "again")
    assert (inside.day, inside.last, inside.uid) == (D(2026, 5, 30), D(2026, 6, 5), ahead.uid)
    last = one(told(store, "2026-06-05T21:00Z"), "treat", "again")  # 23:00 of the last day, by the system's clock
    assert (last.day, last.last) == (D(2026, 6, 5), D(2026, 6, 5))
    after = one(told(store, "2026-06-05T22:30Z"), "treat", "")  # 00:30 of the day after: missed, begins again
    assert after.until is None
    assert [d for d in told(store, "2026-05-17T08:00Z") if d.action == "treat"] == []  # a week that ends on the 23rd
    store.close()


@pytest.mark.published
@pytest.mark.parametrize(
    ("dipped", "now", "day"),
    [
        # Europe/Oslo (IANA tzdata): +1 h until 29 March 2026 01:00 UTC, then +2 h; back on 25 October 2026 01:00 UTC
        ("2026-03-15T22:30Z", "2026-03-28T12:00Z", D(2026, 3, 30)),  # 23:30 on the 15th; 14 days are 00:30 on the 30th
        ("2026-10-11T22:30Z", "2026-10-24T12:00Z", D(2026, 10, 25)),  # 00:30 on the 12th; 14 days are 23:30 on the 25th
    ],
)
def test_fourteen_days_across_a_clock_change(tmp_path, dipped, now, day):
    store = unit(tmp_path, *frags(parse(dipped)))
    assert one(told(store, now), "treat", "again").day == day
    store.close()


@pytest.mark.published
def test_a_look_for_each_day_none_lost_and_none_doubled_when_the_clocks_change(tmp_path):
    store = unit(tmp_path, *frags(parse("2026-03-20T12:00Z")))
    looks = [d for d in told(store, "2026-03-27T23:30Z", 5) if d.subject.startswith("quarantine:")]  # 00:30 on the 28th
    assert [d.day for d in looks] == [D(2026, 3, n) for n in (28, 29, 30, 31)] + [D(2026, 4, 1)]
    midnights = [parse(f"2026-03-{n}T{h}:00Z") for n, h in ((27, 23), (28, 23), (29, 22), (30, 22), (31, 22))]
    assert [d.begins for d in looks] == midnights
    assert len({d.uid for d in looks}) == 5
    assert len({d.daily for d in looks}) == 1
    looked = entry(parse("2026-03-28T08:00Z"), "observation", "census", seen={"frags": 3})
    store.add_entries([looked])
    later = [d.day for d in told(store, "2026-03-28T09:00Z", 2) if d.subject.startswith("quarantine:")]
    assert later == [D(2026, 3, 29)]  # today's is done
    store.close()


def test_photographs_on_the_days_that_are_common_practice(tmp_path):
    """Day 0, 7, 14 and 30 after the newest arrival (common practice, docs/science/livestock.md)."""
    store = unit(tmp_path, *frags(parse("2026-05-10T12:00Z")))
    shown = [d for d in told(store, "2026-05-16T20:00Z", 28) if "photograph" in d.subject]
    assert [d.day for d in shown] == [D(2026, 5, 17), D(2026, 5, 24), D(2026, 6, 9)]
    store.close()


@pytest.mark.published
def test_the_end_of_a_time_without_fish(tmp_path):
    """76 days without fish for white spot, the longest of the parasites of fish (docs/science/livestock.md): fish out
    on 1 March, 30 days more of March, 30 of April, 16 of May."""
    display = UNIT.replace('"isolation"', '"display"').replace('purpose = "quarantine"', "")
    store = unit(
        tmp_path,
        entry(parse("2025-06-01T12:00Z"), "arrival", "tang", 1, "display", source="shop", kind="Zebrasoma flavescens"),
        entry(parse("2026-03-01T12:00Z"), "loss", "tang", 1, "display", how="sold"),
        document=display,
    )
    ends = one(told(store, "2026-05-10T08:00Z"), "ask", "end of the time without")
    assert (ends.day, ends.begins, ends.system) == (D(2026, 5, 16), parse("2026-05-16T12:00Z"), "display")
    assert "76 days" in ends.because
    assert ends.page == "/livestock/fallow?system=display&pest=marine-white-spot"
    assert not [d for d in told(store, "2026-05-09T08:00Z") if d.action == "ask"]
    assert not [d for d in told(store, "2026-05-17T08:00Z") if d.action == "ask"]
    store.close()


# -- the round -----------------------------------------------------------------------------------------------


@pytest.fixture
def keeper(tmp_path):
    made = Keeper(tmp_path)
    quiet_year(made, leave_out={"salinity": -89.0})
    yield made
    made.close()


def test_what_the_round_asks_for_is_due_today_and_what_can_wait_on_its_day(keeper):
    lines = due.due(keeper.store, keeper.clock, None, 28).lines
    whole = choose.round_for(keeper.store, keeper.clock, "small", 1440.0)
    named = {(d.action, d.subject): d for d in lines}
    assert named["test", "salinity"].day == D(2026, 6, 1)
    for c in whole.items:
        d = named[c.action, c.subject]
        assert (d.day, d.until is None) == (D(2026, 6, 1), c.urgency in ("now", "today"))
        assert d.last in (None, D(2026, 6, 7))  # what this week wants: until the sixth day after
    waits = {(x.action, x.subject): x.until for x in whole.left_for_later}
    assert {named[k].begins for k in named if k in waits} == {waits[k] for k in named if k in waits}
    far = [k for k, until in waits.items() if until >= keeper.at(28)]  # that it is quiet for four weeks is no date
    assert far
    assert not set(far) & set(named)
    assert [d.day for d in lines] == sorted(d.day for d in lines)


def test_one_thing_has_one_uid_whenever_it_is_asked_for(keeper):
    first = {(d.system, d.action, d.subject): d.uid for d in due.due(keeper.store, keeper.clock, None, 28).lines}
    assert len(set(first.values())) == len(first)
    for moved in (FixedClock(keeper.at(0.2)), FixedClock(keeper.at(1))):
        again = {(d.system, d.action, d.subject): d.uid for d in due.due(keeper.store, moved, None, 28).lines}
        same = first.keys() & again.keys()
        assert ("small", "test", "salinity") in same
        assert [first[k] for k in same] == [again[k] for k in same]


def test_a_reading_takes_its_test_off_the_list(keeper):
    keeper.types("salinity", "35.0", "psu")
    assert ("test", "salinity") not in [(d.action, d.subject) for d in told(keeper.store, "2026-06-01T08:00Z")]


def test_as_of_uses_nothing_later(keeper):
    then = keeper.at(-100)
    known = due.due(keeper.store, keeper.clock, None, 7, as_of=then)
    assert known.as_of == then
    assert ("test", "salinity") in [(d.action, d.subject) for d in told(keeper.store, "2026-06-01T08:00Z")]
    assert ("test", "salinity") not in [(d.action, d.subject) for d in known.lines]


@pytest.mark.parametrize("days", [0, 29, -1])
def test_days_that_nobody_knows_anything_of(keeper, days):
    with pytest.raises(BadInput, match="From 1 to 28"):
        due.due(keeper.store, keeper.clock, None, days)


def test_names_that_nobody_knows_are_refused_with_near_ones(keeper):
    with pytest.raises(UnknownName, match="Did you mean small"):
        due.due(keeper.store, keeper.clock, ["smal"], 7)
    with pytest.raises(UnknownName, match="name nobody"):
        due.due(keeper.store, keeper.clock, None, 7, "keeper")


def test_an_empty_store_has_nothing_due(tmp_path):
    store = open_store(str(tmp_path / "empty.db"))
    assert told(store, "2026-06-01T08:00Z") == ()
    store.close()


# -- people --------------------------------------------------------------------------------------------------

OSLO = ORDERS.replace('address = "http://reef.local:8077"', 'time_zone = "Europe/Oslo"')


@pytest.fixture
def house(tmp_path):
    made = household.House(tmp_path)
    made.orders(OSLO)
    yield made
    made.store.close()


def note(store, person, path, **noted):
    path_book.keep(store, person, path, {**path_book.seen(store, person, path, None), **noted})


def proofs(store, now, days=4, **more):
    return [d for d in told(store, now, days, **more) if d.action == "prove"]


@pytest.mark.published
def test_proofs_are_due_when_the_watch_will_ask_at_the_wall_clocks_hour(house):
    """18:00 in Oslo is 17:00 UTC until 28 March 2026 and 16:00 UTC from the 29th (IANA tzdata); four hours to answer
    (the orders' usual window)."""
    asked = parse("2026-03-27T17:00Z").timestamp()
    for person, path in (("keeper", "mail"), ("keeper", "bell"), ("neighbour", "letter")):
        note(house.store, person, path, proved_s=asked + 60, last_s=asked)
    found = proofs(house.store, "2026-03-28T08:00Z", 2)
    assert {d.begins for d in found} == {parse("2026-03-28T17:00Z"), parse("2026-03-29T16:00Z")}
    assert {d.until - d.begins for d in found} == {dt.timedelta(hours=4)}
    assert sorted((d.day, d.person, d.subject) for d in found) == [
        (D(2026, 3, 28), "keeper", "mail and bell to keeper"), (D(2026, 3, 28), "neighbour", "letter to neighbour"),
        (D(2026, 3, 29), "keeper", "mail and bell to keeper"), (D(2026, 3, 29), "neighbour", "letter to neighbour"),
    ]  # fmt: skip
    assert all(d.timed and not d.system and d.time_zone == "Europe/Oslo" for d in found)
    assert len({d.uid for d in found}) == 4


def test_a_proof_that_waits_for_its_answer_is_due_until_its_window_ends(house):
    asked = parse("2026-03-27T17:00Z")
    for person, path in (("keeper", "mail"), ("keeper", "bell"), ("neighbour", "letter")):
        waits = {"asked_s": asked.timestamp()} if path == "mail" else {}
        note(house.store, person, path, proved_s=asked.timestamp(), last_s=asked.timestamp(), **waits)
    today = proofs(house.store, "2026-03-27T20:00Z", 1)
    assert [(d.subject, d.until) for d in today] == [("mail to keeper", asked + dt.timedelta(hours=4))]
    assert proofs(house.store, "2026-03-27T21:30Z", 1) == []


def test_what_was_missed_or_never_proved_is_due_now(house):
    at = parse("2026-03-27T17:00Z").timestamp()
    note(house.store, "keeper", "mail", proved_s=at, last_s=at, asked_s=at, overdue=True)
    note(house.store, "neighbour", "letter", proved_s=at, last_s=at)
    found = [d for d in proofs(house.store, "2026-03-28T08:00Z", 1) if not d.timed]
    assert sorted((d.subject, d.because.split(":")[0]) for d in found) == [
        ("bell to keeper", "Never proved as it is set up now"), ("mail to keeper", "The last proof was not answered"),
    ]  # fmt: skip


def test_a_persons_week_holds_their_proofs_and_the_systems_that_they_look_after(house):
    describe.add(house.store, FixedClock(parse("2026-01-01")), UNIT)
    stand_orders.give(
        house.store, OSLO.replace('paths = ["letter"]', 'paths = ["letter"]\nlooks_after = ["isolation"]')
    )
    assert stand_orders.standing(house.store).unknown == ()
    mine = due.due(house.store, FixedClock(parse("2026-03-28T08:00Z")), None, 7, "neighbour")
    assert list(mine.systems) == ["isolation"]
    assert {d.person for d in mine.lines} == {"", "neighbour"}
    assert {d.system for d in mine.lines if not d.person} <= {"isolation"}
    theirs = due.due(house.store, FixedClock(parse("2026-03-28T08:00Z")), None, 7, "keeper")
    assert set(theirs.systems) == {"isolation", "reef"}
    assert {d.person for d in theirs.lines} == {"", "keeper"}
    with pytest.raises(UnknownName, match="Did you mean keeper"):
        due.due(house.store, FixedClock(parse("2026-03-28T08:00Z")), None, 7, "keper")
