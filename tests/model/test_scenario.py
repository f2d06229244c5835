"""Scenario files: what they mean, and one clear line for whatever they can't."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.model.test_simulator_laws import REEF

from leadline.measures.errors import BadInput
from leadline.model import layout as at
from leadline.model import members, scenario
from leadline.model.acts import _COLUMNS, Acts
from leadline.model.describe import blueprint
from leadline.system.description import parse

OSLO = ZoneInfo("Europe/Oslo")
BEGIN = dt.datetime(2026, 3, 27, 18, 30, tzinfo=dt.UTC)  # 19:30 in Oslo, a day and a half before the clocks change


@pytest.mark.parametrize(
    ("text", "hours"),
    [("2 d 6 h", 54.0), ("90 min", 1.5), ("1 week", 168.0), ("1.5d", 36.0), ("3h", 3.0), ("10 s", 10 / 3600)],
)
def test_spans(text, hours):
    assert scenario.span_s(text, "x") == pytest.approx(hours * 3600.0)


@pytest.mark.parametrize("text", ["", "soon", "2", "2 d and a bit", "d", "1 fortnight"])
def test_what_is_no_span_is_refused_with_its_place(text):
    with pytest.raises(BadInput, match=r"change 3\.at.*no span of time"):
        scenario.span_s(text, "change 3.at")


@given(st.text(max_size=30))
def test_no_text_makes_a_moment_crash(text):
    try:
        said, seconds = "here", scenario.moment_s(text, BEGIN, OSLO, "here")
    except BadInput as exc:
        said, seconds = exc.where, 0.0
    assert seconds >= 0.0
    assert said == "here"


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("1 d 19:00", 23.5),  # tomorrow at seven in the evening, local
        ("2 d 19:00", 46.5),  # the clocks go forward in that night: an hour less
        ("20:00", 0.5),
        ("08:00", 12.5),  # the next time it is eight
        ("2026-03-28T12:00:00+01:00", 16.5),
        ("2026-03-28 12:00", 16.5),  # local when nothing is said
        ("36 h", 36.0),
    ],
)
def test_moments(text, hours):
    assert scenario.moment_s(text, BEGIN, OSLO, "x") == pytest.approx(hours * 3600.0)


@pytest.mark.parametrize(
    ("document", "said"),
    [
        ("[[change]]\nequipment = 'heater-1'", "change 1: state is missing"),
        ("[[change]]\nequipment = 'heater-1'\nstate = 'off'\nat = 'yesterday'", "change 1.at"),
        ("[[change]]\nequipment = 'heater-1'\nstate = 'off'\nwhen = '2 d'", "change 1: unknown key 'when'"),
        (
            "[[change]]\nequipment='heater-1'\nstate='off'\nat='1 d'\n"
            "[[change]]\nequipment='heater-1'\nstate='weak'\nat='1 d'",
            "change 2: heater-1 is off and weak at the same moment",
        ),
        ("[[act]]\nkind = 'dance'\nvalue = 1", "act 1: kind = 'dance'"),
        ("[[act]]\nkind = 'exchange'\nvalue = -5", "act 1: value = -5"),
        ("[[act]]\nkind = 'addition'\nvalue = 5", "act 1: subject is missing"),
        ("[[act]]\nkind = 'feeding'\nvalue = 5\nevery = '2 s'", "act 1: every = '2 s'"),
        ("[[act]]\nkind = 'exchange'\nvalue = 5\n[act.extra]\nsalinity = 900", "act 1"),
        ("[[act]]\nkind = 'exchange'\nvalue = 5\nextra = { salt = 35 }", "act 1.extra: unknown key 'salt'"),
        ("[usual]\nfeeding = 'no'", "usual: feeding = 'no'"),
        ("[usual]\nfrom = '3 d'\nuntil = '1 d'", "usual.until: the keeper returns before leaving"),
        ("[start]\nalkalinty = '8 dKH'", "Did you mean alkalinity"),
        ("[start]\nalkalinity = '8 furlongs'", "start.alkalinity"),
        ("[parameter]\nROOM_D = 3", "unknown parameter 'ROOM_D'"),
        ("[parameter]\nROOM_C = [30, 20]", "parameter: ROOM_C"),
        ("[change]\nstate = 'off'", "[change] must be written [[change]]"),
        ("this is no toml", "not valid TOML"),
        ("[start]\nalkalinity = 7.2", "start.alkalinity: 7.2 has no unit"),
        ("[start]\nalkalinity = '900 dKH'", "start.alkalinity"),
        ("[[change]]\nequipment='heater-1'\nstate='off'\nat='-3 h'", "before the run begins"),
        ("[[change]]\nequipment='heater-1'\nstate='off'\nfor='0 h'", "lasts no time"),
        ("[[change]]\nequipment='heater-1'\nstate='off'\nvalue=nan", "change 1: value = nan"),
        ("[[act]]\nkind='exchange'\nvalue=inf\nunit='L'", "act 1: value = inf"),
        ("[[act]]\nkind='exchange'\nvalue=20", "act 1: unit is missing"),
        ("[[act]]\nkind='exchange'\nsubject='tea'\nvalue=20\nunit='L'", "act 1: unknown water 'tea'"),
        ("[[act]]\nkind='feeding'\nsubject='cheese'\nvalue=20\nunit='g'", "act 1: unknown food 'cheese'"),
        ("[[act]]\nkind='exchange'\nvalue=20\nunit='L'\nextra={temperature=500}", "act 1.extra"),
        ("[parameter]\nROOM_C = 3000.0", "parameter: ROOM_C = 3000"),
        ("[parameter]\nROOM_C = nan", "parameter: ROOM_C = nan"),
        ("[parameter]\nfoo = 1", "parameter: unknown parameter 'foo'"),
        ("[start]\nph = '14'", "start.ph: '14' is no water. Give 2 to 13."),
        ("[start]\niodine = '60 µg/L'", "start.iodine: the simulator does not carry it"),
        ("[[change]]\nequipment='heater-1'\nstate='off'\nat='99999999 d 10:00'", "more than a century away"),
    ],
)
def test_bad_input_is_one_line_that_names_the_field(document, said):
    with pytest.raises(BadInput) as caught:
        scenario.read(document, BEGIN, OSLO)
    assert said in caught.value.line()
    assert "\n" not in caught.value.line()


@pytest.mark.parametrize(
    ("document", "said"),
    [
        ("[[change]]\nequipment = 'heater-9'\nstate = 'off'", "change 1: unknown equipment 'heater-9'"),
        ("[[change]]\nequipment = 'chiller-1'\nstate = 'explodes'", "change 1: unknown state of a chiller"),
        ("[[act]]\nkind = 'addition'\nsubject = 'unobtainium'\nvalue = 5\nunit = 'g'", "act 1: unknown substance"),
        ("[[act]]\nkind = 'exchange'\nvalue = 5\nunit = 'kg'", "act 1"),
        ("[[change]]\nequipment = 'heater-1'\nstate = 'weak'\nvalue = -5", "change 1: value = -5"),
        ("[[change]]\nequipment = 'heater-1'\nstate = 'off'\nat = '9 d'", "change 1.at"),
        ("[[change]]\nequipment = 'room'\nstate = 'hot'\nvalue = -5", "change 1: value = -5"),
        ("[[act]]\nkind = 'exchange'\nvalue = 100000\nunit = 'L'", "act 1: 100000 L is more than the"),
        ("[[act]]\nkind = 'bloom'\nsubject = 'moss'\nvalue = 5\nunit = 'g'", "act 1: unknown bloom 'moss'"),
    ],
)
def test_what_this_system_has_not_is_named(document, said):
    read = scenario.read(document, BEGIN, OSLO)
    with pytest.raises(BadInput) as caught:
        scenario.put(read, Acts(blueprint(parse(REEF)), 600.0), 3.0)
    assert said in caught.value.line()


def test_a_time_of_day_may_stand_without_quotes():
    read = scenario.read("[[change]]\nequipment='heater-1'\nstate='off'\nat=19:00:00", BEGIN, OSLO)
    quoted = scenario.read("[[change]]\nequipment='heater-1'\nstate='off'\nat='19:00'", BEGIN, OSLO)
    assert read.changes == quoted.changes


@pytest.mark.parametrize(("state", "value", "sign"), [("hot", 6.0, 1.0), ("cold", 6.0, -1.0), ("cold", -6.0, -1.0)])
def test_kelvins_of_a_hot_and_a_cold_room(state, value, sign):
    acts = Acts(blueprint(parse(REEF)), 600.0)
    acts.change(0.0, "room", state, value)
    warmer = at.CONTROLS.index("ROOM_WARMER")
    set_to = [row[_COLUMNS["value"]] for row, _ in acts.rows if row[_COLUMNS["control"]] == warmer]
    assert set_to == [sign * 6.0]


def test_ph_alone_sets_the_carbon_and_leaves_the_alkalinity():
    e = members.muster(blueprint(parse(REEF)), BEGIN, 2, 1, members.Start(), 600.0, certain=True)
    before = e.x.copy()
    members.set_water(e, {"ph": 7.9})
    first = e.x.copy()
    members.set_water(e, {"ph": 8.3})
    assert (e.x[..., at.TA] == before[..., at.TA]).all()
    assert (e.x[..., at.DIC] < first[..., at.DIC]).all()


def run(document: str, days: float) -> tuple[members.Ensemble, members.Seen]:
    plan = blueprint(parse(REEF))
    e = members.muster(plan, BEGIN, 1, 1, members.Start(), 600.0, certain=True)
    acts = Acts(plan, 600.0)
    scenario.put(scenario.read(document, BEGIN, OSLO), acts, days)
    table, parcels = acts.tables(e.p)
    e.alive = int(acts.alive)
    return e, members.run(e, round(days * 144), table, parcels, every=6, plain=True)


def test_a_change_lasts_as_long_as_it_says():
    document = "[[change]]\nequipment = 'return-pump'\nstate = 'off'\nat = '6 h'\nfor = '6 h'"
    _, seen = run(document, 1.0)
    lower = seen.of("plant_volume")[0]
    assert lower[11] > lower[5] + 10.0  # the display drains into the sump
    assert lower[20] == pytest.approx(lower[5], abs=2.0)  # and is pumped up again


def test_an_act_comes_again_and_again_until_the_end():
    e, _ = run("[[act]]\nkind='addition'\nsubject='copper'\nvalue=0.001\nunit='g'\nevery='1 d'\nat='1 h'", 3.5)
    copper = e.x[0, :, at.COPPER].sum() + e.y[0, at.ROCK_CU] - e.led[0, at.SKIMMATE, at.COPPER]
    assert copper == pytest.approx(4 * 0.001 / 63.546, rel=0.01)


def test_a_bloom_grows_and_the_dark_stops_it():
    lit = run("[[act]]\nkind='bloom'\nsubject='cyanobacteria'\nvalue=2\nunit='g'", 6.0)[1].of("cyanobacteria")[0]
    dark = run(
        "[[act]]\nkind='bloom'\nsubject='cyanobacteria'\nvalue=2\nunit='g'\n"
        "[[change]]\nequipment='light-1'\nstate='off'", 6.0,
    )[1].of("cyanobacteria")[0]  # fmt: skip
    assert lit[-1] > lit[0]  # slowly: phosphate media starve it
    assert dark[-1] < dark[0]


def test_tap_water_with_chloramine_frees_ammonia():
    said = "[[act]]\nkind='exchange'\nsubject='tap'\nvalue=120\nunit='L'\nextra={chloramine=4.0, salinity=35.0}"
    _, seen = run(said, 0.5)
    # sheet 8.1 [computed: arith]: 4 mg/L of tap in a 20 % change bring +0.158 mg/L as N once all of it is freed
    chlorine = float(seen.of("chloramine")[0, 2])  # two hours on it is mixed, and 5 % has decayed
    assert chlorine * 0.1976 == pytest.approx(0.158, rel=0.08)
