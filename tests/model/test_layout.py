"""The simulator's lists hold together: names, places, parameters with their origin, and each parameter in use."""

import re
from pathlib import Path

import pytest

import leadline.model
from leadline.model import draw, layout, sight
from leadline.model.acts import ALWAYS, STATES
from leadline.model.outcome import MORE
from leadline.model.parameters import NAMES, PARAMETERS

SOURCES = sorted(Path(leadline.model.__file__).parent.rglob("*.py"))


def test_the_draw_holds_the_parameters_in_their_order():
    places = {name: value for name, value in vars(draw).items() if name.isupper()}
    assert sorted(places, key=places.__getitem__) == list(NAMES)
    assert list(places.values()) == list(range(len(NAMES)))


@pytest.mark.parametrize("kind", ["STATES", "POOLS", "CONTROLS", "PLACES", "CAUSES"])
def test_each_name_stands_where_its_list_has_it(kind):
    for place, name in enumerate(getattr(layout, kind)):
        assert getattr(layout, name) == place


@pytest.mark.parametrize("parameter", PARAMETERS, ids=lambda p: p.name)
def test_a_parameter_has_a_range_a_mark_and_a_source(parameter):
    assert parameter.low < parameter.high
    if parameter.middle is not None and parameter.middle != 0.0:
        assert parameter.low <= parameter.middle <= parameter.high
    assert parameter.mark in {"sourced", "common practice", "memory", "judgement", "description"}
    if parameter.mark in ("sourced", "common practice", "memory"):
        assert len(parameter.source) > 5  # says what it rests on


def test_every_parameter_is_used_by_a_process():
    text = "\n".join(p.read_text(encoding="utf-8") for p in SOURCES if p.name not in ("draw.py", "parameters.py"))
    for name in NAMES:
        if re.search(r"_[1-9]_", name):  # dosers and heaters after the first are reached by their number
            continue
        assert re.search(rf"\bd\.{name}\b", text), name


def test_states_of_machines_set_controls_that_are():
    for kind, states in STATES.items():
        for state, sets in states.items():
            for name in sets:
                assert name.replace("#", "0") in layout.CONTROLS, (kind, state)
                assert name in states["normal"], (kind, state)  # else it could not end
    assert set(ALWAYS) <= set(STATES)


def test_every_sight_that_is_told_has_a_unit():
    assert set(MORE) <= set(sight.SIGHTS)
    assert len(set(sight.SIGHTS)) == sight.N_SIGHTS
