"""Livestock through the app, over a real store: what is logged, refused, asked of the round, told by the watch."""

from __future__ import annotations

import datetime as dt

import pytest
from tests.app.keeper import Keeper

from leadline.app import breeding, choose, describe, quarantine, record, stock, stock_log, stock_look, stock_warn, trace
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import FixedClock

pytestmark = pytest.mark.story
UNIT = """
[system]
id = "isolation"
name = "Isolation"
time_zone = "Europe/Oslo"
net_volume = "90 L"
purpose = "quarantine"

[[neighbour]]
system = "small"
distance = "1.5 m"
"""


@pytest.fixture
def house(settled: Keeper) -> Keeper:
    describe.add(settled.store, settled.clock, UNIT)
    return settled


def warm(keeper: Keeper, value: str) -> None:
    record.log(
        keeper.store,
        keeper.clock,
        system="isolation",
        kind="reading",
        subject="temperature",
        value_text=value,
        unit="degC",
    )


def later(keeper: Keeper, days: float) -> FixedClock:
    return FixedClock(keeper.clock.now() + dt.timedelta(days=days))


def test_a_pair_comes_is_named_and_moves(house):
    done = stock_log.arrive(
        house.store, house.clock, system="isolation", kind="Amphiprion ocellaris", count="2", source="shop",
        about={"papers": "invoice", "irreplaceable": True},
    )  # fmt: skip
    assert done.entry.subject == "common-clownfish"
    again = stock_log.arrive(house.store, house.clock, system="isolation", kind="Amphiprion ocellaris")
    assert again.entry.subject == "common-clownfish-2"
    clock = later(house, 40)
    stock_log.move(house.store, clock, "common-clownfish", "small", count="1", washed=True)
    h = stock.house(house.store, clock)
    lot = h.lot("common clownfish")
    assert lot.here == {"isolation": 1.0, "small": 1.0}
    assert (lot.irreplaceable, lot.about["papers"], lot.kind.id) == (True, "invoice", "amphiprion-ocellaris")
    with pytest.raises(BadInput, match="is in isolation and small"):
        stock_log.move(house.store, clock, "common-clownfish", "lagoon")


def test_the_same_form_sent_twice_is_one_arrival(house):
    for _ in range(2):
        stock_log.arrive(house.store, house.clock, system="isolation", kind="acropora", animal="frag", token="t1")
    assert stock.house(house.store, house.clock).lot("frag").here == {"isolation": 1.0}


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"kind": ""}, "an arrival of what?"),
        ({"kind": "acropora", "count": "-3"}, "Give how many"),
        ({"kind": "acropora", "count": "many"}, "Give how many"),
        ({"kind": "acropora", "animal": "???"}, "is no name"),
        ({"kind": "acropora", "about": {"colour": "blue"}}, "unknown field 'colour'"),
        ({"kind": "acropora", "system": "nowhere"}, "unknown system 'nowhere'"),
        ({"kind": "acropora", "time": "2030-01-01"}, "in the future"),
    ],
)
def test_an_arrival_that_cannot_be_used_gets_one_line(house, given, said):
    with pytest.raises(BadInput) as refused:
        stock_log.arrive(house.store, house.clock, **{"system": "isolation", "kind": "acropora", **given})
    assert said in refused.value.line()
    assert not stock.house(house.store, house.clock).register.lots


def test_more_than_there_are_can_neither_move_nor_die(house):
    stock_log.arrive(house.store, house.clock, system="small", kind="chromis-viridis", animal="school", count="5")
    for act in (
        lambda: stock_log.move(house.store, house.clock, "school", "isolation", count="6"),
        lambda: stock_log.lose(house.store, house.clock, "school", count="6"),
        lambda: stock_log.lose(house.store, house.clock, "school", how="vanished"),
        lambda: stock_log.see(house.store, house.clock, "isolation", ["school"]),
        lambda: stock_log.note(house.store, house.clock, "nobody", "white-spots"),
    ):
        with pytest.raises(BadInput):
            act()
    assert stock.house(house.store, house.clock).lot("school").here == {"small": 5.0}


def test_a_loss_keeps_what_was_found(house):
    stock_log.arrive(house.store, house.clock, system="small", kind="chromis-viridis", animal="school", count="5")
    clock = later(house, 1)
    stock_log.lose(house.store, clock, "school", count="1", exam={"gills": "pale", "skin": ""}, note="behind the rock")
    lot = stock.house(house.store, clock).lot("school")
    assert lot.here == {"small": 4.0}
    assert (lot.gone[0].exam, lot.gone[0].how, lot.gone[0].note) == ({"gills": "pale"}, "died", "behind the rock")


def test_history_as_of_any_day(house):
    stock_log.arrive(house.store, house.clock, system="isolation", kind="acropora", animal="frag")
    clock = later(house, 70)
    stock_log.move(house.store, clock, "frag", "small")
    then = stock.house(house.store, clock, house.clock.now() + dt.timedelta(days=30))
    assert then.lot("frag").here == {"isolation": 1.0}
    assert stock.house(house.store, clock).lot("frag").here == {"small": 1.0}


def test_copper_and_invertebrates_never_together(house):
    stock_log.arrive(house.store, house.clock, system="isolation", kind="naso", animal="tang")
    quarantine.treat(house.store, house.clock, "isolation", agent="copper", what="medicine")
    stock_log.arrive(house.store, house.clock, system="isolation", kind="trochus", animal="snails", count="9")
    with pytest.raises(BadInput, match="harms snails, which live here"):
        quarantine.treat(house.store, house.clock, "isolation", agent="copper", what="medicine")
    entries = [e for e in house.store.entries("isolation") if e.kind == "treatment"]
    assert len(entries) == 1


def test_the_round_asks_for_the_dip_in_its_window_and_no_longer_once_it_is_done(house):
    stock_log.arrive(house.store, house.clock, system="isolation", kind="acropora", animal="frags", count="3")
    warm(house, "27.0")
    quarantine.treat(house.store, house.clock, "isolation", agent="potassium-chloride-dip", base="removed")
    day10, day16 = later(house, 10), later(house, 16)
    assert not [c for c in choose.round_for(house.store, day10, "isolation", 60).items if c.action == "treat"]
    due = [c for c in choose.round_for(house.store, day16, "isolation", 60).items if c.action == "treat"]
    assert [c.subject for c in due] == ["again: frags"]
    assert "hatched by day 14" in due[0].because
    assert due[0].page == "/livestock/isolation/quarantine#dip-2"
    quarantine.treat(house.store, day16, "isolation", agent="potassium-chloride-dip")
    assert not [c for c in choose.round_for(house.store, day16, "isolation", 60).items if c.action == "treat"]


def test_the_round_looks_for_who_was_missed_and_one_press_says_seen(house):
    stock_log.arrive(house.store, house.clock, system="small", kind="naso", animal="tang")
    for d in (5, 6, 7):
        stock_log.see(house.store, later(house, d), "small", [], looked_over=True)
    clock = later(house, 7.5)
    line = next(c for c in choose.round_for(house.store, clock, "small", 60).items if c.action == "observe")
    assert line.subject == "tang"
    assert "3 looks found nothing" in line.because
    record.done(house.store, clock, "small", line.action, line.subject, dict(line.logs))
    assert not [c for c in choose.round_for(house.store, clock, "small", 60).items if c.subject == "tang"]


def test_a_button_writes_nothing_else(house):
    with pytest.raises(BadInput):
        record.done(house.store, house.clock, "small", "observe", "x", {"kind": "loss", "subject": "tang"})
    with pytest.raises(BadInput):
        record.done(house.store, house.clock, "small", "observe", "x", {"kind": "observation", "subject": "spots"})


def test_a_toxic_animal_that_was_moved_asks_for_a_look_tonight_and_the_watch_calls(house):
    stock_log.arrive(house.store, house.clock, system="small", kind="palythoa", animal="polyps")
    assert [h.id for h in stock.cautions(stock.house(house.store, house.clock), stock.house(
        house.store, house.clock).lot("polyps"))] == ["palytoxin"]  # fmt: skip
    clock = later(house, 2)
    stock_log.move(house.store, clock, "polyps", "a-friend")
    evening = later(house, 2.2)
    first = choose.round_for(house.store, evening, "small", 60).items[0]
    assert (first.urgency, first.subject) == ("now", "fish beside polyps")
    assert "gloves" in first.because.lower()
    described = describe.load(house.store, "small")
    told = {f.name: f.holds for f in stock_look.findings(house.store, described, evening.now().timestamp())}
    assert told[stock_look.DISTURBED]
    stock_log.see(house.store, evening, "small", [], looked_over=True)
    told = {f.name: f.holds for f in stock_look.findings(house.store, described, evening.now().timestamp() + 60)}
    assert not told[stock_look.DISTURBED]


def test_the_watch_calls_before_a_window_closes(house):
    stock_log.arrive(house.store, house.clock, system="isolation", kind="acropora", animal="frags")
    warm(house, "27.0")
    quarantine.treat(house.store, house.clock, "isolation", agent="potassium-chloride-dip")
    described = describe.load(house.store, "isolation")
    for days, holds in ((15.0, False), (25.0, True)):
        found = stock_look.findings(house.store, described, later(house, days).now().timestamp())
        assert {f.name: f.holds for f in found}[stock_look.WINDOW] is holds


def test_a_pump_that_can_shred_somebody_is_minded_before_it_starts_again(house):
    document = describe.document(house.store, "small") + '\n[[equipment]]\nid = "return-pump"\ntype = "pump"\n'
    describe.add(house.store, house.clock, document, replace=True)
    now_s = house.clock.now().timestamp()
    assert stock_look.before_restart(house.store, "small", "return-pump", now_s) == ""
    stock_log.arrive(house.store, house.clock, system="small", kind="holothuria", animal="cucumber")
    assert "cucumber here" in stock_look.before_restart(house.store, "small", "return-pump", now_s)
    assert stock_look.before_restart(house.store, "small", "heater-1", now_s) == ""
    line = next(c for c in choose.round_for(house.store, house.clock, "small", 60).items if "guard" in c.subject)
    assert "no guard is declared" in line.because


def test_eggs_hatch_when_the_water_says(house):
    """CLO-04 (memory, and labelled so): 7 to 9 days at 26 to 27 °C."""
    stock_log.arrive(
        house.store, house.clock, system="isolation", kind="Amphiprion ocellaris", animal="pair", count="2"
    )
    warm(house, "26.5")
    stock_log.note(house.store, house.clock, "pair", "eggs-laid")
    brood = breeding.broods(house.store, house.clock, "pair")[0]
    assert [(t - brood.laid).days for t in brood.hatch] == [7, 9]
    assert brood.unconfirmed
    assert any("unconfirmed" in line for line in breeding.said(house.store, house.clock, "pair"))
    stock_log.note(house.store, later(house, 8), "pair", "hatched")
    assert breeding.broods(house.store, later(house, 9), "pair")[0].hatched is not None


def test_a_trace_by_the_words_of_a_keeper(house):
    stock_log.arrive(house.store, house.clock, system="isolation", kind="naso", animal="tang", source="shop")
    clock = later(house, 20)
    stock_log.move(house.store, clock, "tang", "small")
    f = trace.forward(house.store, later(house, 25), "marine-white-spot", came_with="tang")
    assert {e.place for e in f.exposed} == {"isolation", "small"}
    stock_log.note(house.store, later(house, 26), "tang", "white-spots")
    b = trace.backward(house.store, later(house, 27), "marine-white-spot", "small")
    assert (b.suspects[0].lot, b.suspects[0].share > 0.5) == ("tang", True)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({}, "forward from what?"),
        ({"came_with": "nobody"}, "unknown animal 'nobody'"),
        ({"place": "nowhere"}, "unknown system"),
        ({"place": "isolation"}, "since when?"),
        ({"source": "nobody"}, "unknown source"),
    ],
)
def test_a_question_that_is_incomplete_gets_one_line(house, given, said):
    with pytest.raises(BadInput) as refused:
        trace.forward(house.store, house.clock, "marine-white-spot", **given)
    assert said in refused.value.line()


def test_unknown_pests_and_days_to_come(house):
    with pytest.raises(UnknownName, match="Did you mean marine-velvet"):
        trace.backward(house.store, house.clock, "marine-velvit", "isolation", house.clock.now())
    with pytest.raises(BadInput, match="in the future"):
        trace.backward(house.store, house.clock, "aiptasia", "isolation", later(house, 2).now())
    with pytest.raises(BadInput, match="first seen when"):
        trace.backward(house.store, house.clock, "aiptasia", "isolation")


@pytest.mark.parametrize(
    ("kind", "subject", "more"),
    [
        ("treatment", "copper", {}),
        ("treatment", "medicine", {"agent": "copper sulphate"}),
        ("addition", "copper", {}),
        ("treatment", "CuSO4", {}),
        ("treatment", "medicine", {"agent": "cupric-sulphate"}),
    ],
)
def test_copper_and_invertebrates_never_together_however_it_is_logged(house, kind, subject, more):
    """Known of copper: kills invertebrates at fish-safe strengths (biology, agents)."""
    stock_log.arrive(house.store, house.clock, system="isolation", kind="trochus", animal="snails", count="3")
    given = {"system": "isolation", "kind": kind, "subject": subject, "value_text": "1", "unit": "g"}
    with pytest.raises(BadInput, match="harms snails, which live here"):
        record.log(house.store, house.clock, **given, extra=more)
    done = record.log(house.store, house.clock, **given, extra={**more, "moved_out": True})
    assert done.entry.kind == kind


def test_water_that_had_copper_does_not_go_to_invertebrates(house):
    stock_log.arrive(house.store, house.clock, system="small", kind="trochus", animal="snails", count="3")
    quarantine.treat(house.store, house.clock, "isolation", agent="copper", what="medicine")
    given = {
        "system": "isolation",
        "kind": "transfer",
        "subject": "water",
        "value_text": "20",
        "unit": "L",
        "to": "small",
    }
    with pytest.raises(BadInput, match="the water of isolation had it"):
        record.log(house.store, house.clock, **given)


def test_leaving_quarantine_early_is_said(house):
    stock_log.arrive(house.store, house.clock, system="isolation", kind="naso", animal="tang", source="shop")
    stock_log.note(house.store, later(house, 2), "tang", "white-spots")
    lines = " ".join(stock_warn.before_it_moves(house.store, later(house, 3), "tang", "small"))
    assert "Its quarantine is not over" in lines
    assert "Noted of it: white spots" in lines


def test_a_reading_moves_nobody_and_a_loss_is_seen_at_once(house):
    """What is kept of the register between questions is given again after a reading, and never after a loss."""
    stock_log.arrive(house.store, house.clock, system="isolation", kind="naso", animal="tang", source="shop")
    first = stock.house(house.store, house.clock).register
    warm(house, "25.4")
    assert stock.house(house.store, house.clock).register is first
    stock_log.lose(house.store, house.clock, "tang", how="died")
    assert not stock.house(house.store, house.clock).register.lots["tang"].alive
