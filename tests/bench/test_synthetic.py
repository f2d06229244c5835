"""The simulated systems must be honest: masses add up, seeds repeat, rows follow the journal format."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime

import numpy as np
import pytest
from bench.synthetic import COLUMNS, QUANTITIES, as_csv, make_system
from bench.synthetic_keeper import Keeper
from bench.synthetic_styles import STYLES
from bench.synthetic_water import HOURS, SPECIES, Water, ph_nbs, psu_of, salt_of

SEEDS = range(12)  # two of each style
KINDS = {
    "reading",
    "addition",
    "exchange",
    "topoff",
    "feeding",
    "arrival",
    "transfer",
    "loss",
    "observation",
    "treatment",
    "service",
    "note",
}
# The units an import must know, by quantity; the journal format's own table.
UNITS = {
    "salinity": {"psu", "ppt", "sg@25/25"},
    "temperature": {"degC"},
    "alkalinity": {"dKH", "meq/L", "ppm CaCO3"},
    "calcium": {"mg/L"},
    "magnesium": {"mg/L"},
    "potassium": {"mg/L"},
    "nitrate": {"mg/L", "mg/L as N"},
    "phosphate": {"mg/L", "ug/L P"},
    "ph": {"1"},
}


@pytest.fixture(scope="module")
def systems():
    return [make_system(seed) for seed in SEEDS]


@pytest.mark.law
@pytest.mark.parametrize("name", STYLES)
def test_what_is_there_is_what_was_there_plus_what_came_in(name):
    """Conservation: amount now = amount at the start + ledger, for seven species and the water itself."""
    rng = np.random.default_rng(5)
    water = Water(STYLES[name], 200, 60, rng)
    begin = water.volume
    keeper = Keeper(STYLES[name], water, datetime(2024, 1, 1, tzinfo=UTC), "x", rng)
    for hour in range(200 * HOURS):
        water.record(hour)
        keeper.act(hour)
        water.step(hour)
    for i, species in enumerate(SPECIES):
        expected = water.start_amount[i] + water.ledger[i]
        # float sums over 5000 steps of amounts near 1e4 to 1e6: far below a billionth
        assert water.amount[i] == pytest.approx(expected, rel=1e-9, abs=1e-6), species
    assert water.volume == pytest.approx(begin + water.water_ledger, rel=1e-9)


@pytest.mark.law
def test_a_closed_dose_moves_calcium_and_alkalinity_as_stoichiometry_says():
    """1 meq and 0.5 mmol of CaCl2 leave one mmol of NaCl when the CaCO3 has gone: 58.44 mg (molar masses)."""
    water = Water(STYLES["stony"], 10, 60, np.random.default_rng(1))
    before = list(water.amount)
    water.add_alkali(100.0)
    water.add_calcium(50.0 * 40.078)
    left = water.amount[0] - before[0] - 100.0 * 0.06102 - 50.0 * 40.078e-3  # bicarbonate and calcium calcify away
    assert left == pytest.approx(100.0 * 58.44e-3, rel=2e-3)  # the constants carry four figures


@pytest.mark.published
def test_ph_of_ordinary_seawater():
    """PyCO2SYS 1.8 gives total-scale 8.02588 and 8.09807 for these two states; the NBS step here is 0.13."""
    ph = ph_nbs(np.array([2.3, 2.8]) * 1.0235, np.array([420.0] * 2), np.array([25.0] * 2), np.array([35.0] * 2))
    assert ph - 0.13 == pytest.approx([8.02588, 8.09807], abs=0.002)  # the borate constant is made linear


def test_salt_goes_there_and_back():
    psu = np.array([20.0, 35.0, 40.0])
    assert psu_of(np.array([salt_of(p) for p in psu])) == pytest.approx(psu, rel=1e-9)
    # 35 psu at 25 °C: 35.165 g/kg times 1.0233 kg/L (TEOS-10)
    assert salt_of(35.0) == pytest.approx(35.165 * 1.0233, rel=1e-3)


@pytest.mark.parametrize("seed", SEEDS)
def test_truth_stays_where_a_reef_can_be(systems, seed):
    """Wide, but not absurd; medians inside what keepers report (common practice)."""
    system = systems[seed]
    everywhere = {
        "salinity": (25, 44),
        "temperature": (18, 33),
        "alkalinity": (0.7, 7),
        "calcium": (250, 650),
        "magnesium": (850, 1800),
        "potassium": (200, 520),
        "nitrate": (0, 150),
        "phosphate": (0, 3),
        "ph": (7.1, 9.0),
    }
    for quantity, (low, high) in everywhere.items():
        values = system.truth(quantity, np.linspace(system.start, system.end, 5000))
        assert np.all(np.isfinite(values)), quantity
        assert low <= values.min(), (quantity, values.min())
        assert values.max() <= high, (quantity, values.max())
    assert 31 < np.median(system.grid["salinity"]) < 39
    assert 1.6 < np.median(system.grid["alkalinity"]) < 4.5


@pytest.mark.parametrize("seed", [0, 3, 4])
def test_same_seed_same_system_and_another_seed_another(seed):
    one, two, other = make_system(seed), make_system(seed), make_system(seed + 6)
    assert as_csv(one.journal) == as_csv(two.journal)
    assert one.system_toml == two.system_toml
    for quantity in QUANTITIES:
        assert np.array_equal(one.grid[quantity], two.grid[quantity])
    for a, b in zip(one.streams, two.streams, strict=True):
        assert np.array_equal(a[2], b[2])
    assert as_csv(one.journal) != as_csv(other.journal)


@pytest.mark.parametrize("seed", SEEDS)
def test_rows_follow_the_journal_format(systems, seed):
    system = systems[seed]
    times = [datetime.fromisoformat(row["time"]).timestamp() for row in system.journal]
    assert times == sorted(times)
    assert system.start <= times[0]
    assert times[-1] <= system.end
    for row in system.journal:
        assert set(row) <= set(COLUMNS)
        assert row["system"] == system.system_id
        assert row["kind"] in KINDS
        assert row["subject"]
        assert isinstance(row.get("extra", {}), dict)
        if row["kind"] == "reading":
            assert row["unit"] in UNITS[row["subject"]]
            assert np.isfinite(row["value"])
        if row["kind"] in ("addition", "exchange", "topoff", "feeding"):
            assert row["value"] >= 0
    described = tomllib.loads(system.system_toml)
    assert described["system"]["id"] == system.system_id


def test_readings_are_near_the_truth_but_not_on_it(systems):
    """Alkalinity errs by 0.1 to 1 dKH (common practice for kits): neither perfect nor hopeless."""
    errors = []
    for system in systems:
        for row in system.journal:
            if row["kind"] == "reading" and row["subject"] == "alkalinity":
                at = datetime.fromisoformat(row["time"]).timestamp()
                factor = {"dKH": 2.804, "meq/L": 1.0, "ppm CaCO3": 50.04}[row["unit"]]
                errors.append((row["value"] / factor - system.truth("alkalinity", [at])[0]) * 2.804)
    middle = np.median(np.abs(errors))
    assert 0.07 < middle < 0.6
    assert max(np.abs(errors)) > 6 * middle  # blunders and heavy tails are in there


def test_truth_refuses_what_it_does_not_know(systems):
    with pytest.raises(ValueError, match="truth is known"):
        systems[0].truth("alkalinity", [systems[0].end + 86400])
    with pytest.raises(KeyError):
        systems[0].truth("iodine", [systems[0].start])


def test_all_six_styles_occur(systems):
    assert {system.style for system in systems} == set(STYLES)
    assert any(system.streams for system in systems)
