"""What hands and fate do at a moment: water exchanged, something added, food given, a machine that fails.

Acts are gathered in the words of the journal and become the rows of numbers that `loop.apply` does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from leadline.measures.errors import BadInput, UnknownName
from leadline.model import draw as d
from leadline.model import layout as at
from leadline.model.blueprint import Blueprint, parcel, water_parcel
from leadline.model.loop import (
    ACT_AMOUNT,
    ACT_BODY,
    ACT_CONTROL,
    ACT_OUT_KG,
    ACT_PARCEL,
    ACT_POOL,
    ACT_POOL_ADD,
    ACT_STEP,
    ACT_VALUE,
    ACT_WARM_C,
    N_ACT,
)  # fmt: skip
from leadline.model.processes.flow import KG_L
from leadline.model.substances import food_moles, grams_of
from leadline.seawater.density import of_seawater_millero1981

Array = np.ndarray

# state of a machine, by its kind: controls (a name ending in _ takes the machine's number) and their values
STATES: dict[str, dict[str, dict[str, float]]] = {
    "heater": {
        "normal": {"HEATER_#_FORCE": 0.0, "HEATER_#_EFFECT": 1.0}, "off": {"HEATER_#_FORCE": -1.0},
        "stuck-on": {"HEATER_#_FORCE": 1.0}, "no-effect": {"HEATER_#_EFFECT": 0.0}, "weak": {"HEATER_#_EFFECT": 0.5},
    },
    "chiller": {
        "normal": {"CHILLER_FORCE": 0.0, "CHILLER_EFFECT": 1.0}, "off": {"CHILLER_FORCE": -1.0},
        "stuck-on": {"CHILLER_FORCE": 1.0}, "no-effect": {"CHILLER_EFFECT": 0.0}, "weak": {"CHILLER_EFFECT": 0.4},
        "warms": {"CHILLER_EFFECT": -0.5},
    },
    "return": {"normal": {"RETURN": 1.0}, "off": {"RETURN": 0.0}, "weak": {"RETURN": 0.3}},
    "waves": {"normal": {"WAVES": 1.0}, "off": {"WAVES": 0.0}, "weak": {"WAVES": 0.4}},
    "topoff": {"normal": {"FILL_FORCE": 0.0}, "off": {"FILL_FORCE": -1.0}, "stuck-on": {"FILL_FORCE": 1.0}},
    "doser": {
        "normal": {"DOSER_#": 1.0, "SIPHON_#": 0.0}, "off": {"DOSER_#": 0.0}, "double": {"DOSER_#": 2.0},
        "weak": {"DOSER_#": 0.6},
        "siphon": {"SIPHON_#": 60.0},  # L/h of an open 4 mm line: 48 to 84 (sheet of practice, 5.5)
    },
    "light": {"normal": {"LAMPS": 1.0}, "off": {"LAMPS": 0.0}, "weak": {"LAMPS": 0.6}},
    "skimmer": {"normal": {"SKIMMER": 1.0}, "off": {"SKIMMER": 0.0}, "weak": {"SKIMMER": 0.4}},
    "uv": {"normal": {"UV": 1.0}, "off": {"UV": 0.0}, "weak": {"UV": 0.5}},
    "fan": {"normal": {"FAN": 1.0}, "off": {"FAN": 0.0}},
    "carbon": {"normal": {"CARBON": 1.0}, "off": {"CARBON": 0.0}},
    "media": {"normal": {"MEDIA": 1.0}, "off": {"MEDIA": 0.0}},
    "mains": {"normal": {"MAINS": 1.0}, "off": {"MAINS": 0.0}},
    "thermometer": {
        "normal": {"PROBE_OFFSET": 0.0, "PROBE_STUCK": 0.0}, "reads-high": {"PROBE_OFFSET": 2.0},
        "reads-low": {"PROBE_OFFSET": -2.0}, "stuck": {"PROBE_STUCK": 25.0},
    },
    "room": {"normal": {"ROOM_WARMER": 0.0, "ROOM_CO2": 0.0}, "hot": {"ROOM_WARMER": 8.0},
             "cold": {"ROOM_WARMER": -8.0}, "stuffy": {"ROOM_CO2": 900.0}},
    "corals": {"normal": {"VITALITY": 1.0}, "slow": {"VITALITY": 0.5}, "still": {"VITALITY": 0.0}},
}  # fmt: skip
ALWAYS = ("mains", "thermometer", "room", "corals", "waves")
_BLOOMS = {"dinoflagellates": at.DINO_BED, "cyanobacteria": at.CYANO, "diatoms": at.DIATOM, "hair-algae": at.HAIR,
           "refuge-algae": at.REFUGE}  # fmt: skip
_POISONS = {"chloramine": at.CHLORAMINE, "copper": at.COPPER, "medicine": at.MEDICINE, "toxin": at.TOXIN}
_PER_GRAM = {"chloramine": 1.0 / 70.9, "copper": 1.0 / 63.546, "medicine": 1.0, "toxin": 1.0}
_DRY_G_PER_MOL = {"hair-algae": 733.7, "refuge-algae": 733.7}  # mats and plankton: 198.9


@dataclass
class Acts:
    """Acts of one run, gathered in any order. Moments in seconds since its beginning."""

    plan: Blueprint
    dt_s: float
    parcels: list[Array] = field(default_factory=list)
    rows: list[tuple[Array, str]] = field(default_factory=list)  # the row, and what scales it for a member
    marks: list[tuple[float, str]] = field(default_factory=list)
    alive: bool = False  # whether a bloom was put in

    def _row(self, at_s: float, by: str = "", **columns: float) -> None:
        row = np.zeros(N_ACT)
        row[ACT_PARCEL] = row[ACT_CONTROL] = row[ACT_POOL] = -1.0
        row[ACT_STEP] = round(at_s / self.dt_s)
        row[ACT_BODY] = columns.pop("body", 0)
        for name, value in columns.items():
            row[_COLUMNS[name]] = value
        self.rows.append((row, by))

    def _parcel(self, held: Array) -> int:
        self.parcels.append(held)
        return len(self.parcels) - 1

    def exchange(
        self, at_s: float, litres: float, kind: str = "mixed-seawater", extra: Mapping[str, Any] | None = None,
        *, out_l: float | None = None, say: bool = True,
    ) -> None:  # fmt: skip
        """A water change from the vessel with the machines; the new water at its stated warmth, else 25 °C."""
        more = dict(extra or {})
        new = water_parcel(kind, more, self.plan.system.room.co2_ppm)
        kg_l = of_seawater_millero1981(25.0, 1000.0 * new[at.SALT] * 35.0 / 35.16504) / 1000.0
        warm = float(more.get("temperature", 25.0))
        out = float(more.get("volume_out", litres)) if out_l is None else out_l
        hub = len(self.plan.bodies) - 1
        # taken from the display, where the water is; poured in there too: the weir brings it down
        self._row(at_s, body=0 if hub == 0 or out > 0.4 * self.plan.places[hub, at.FULL] else hub, out_kg=out * KG_L,
                  parcel=self._parcel(new), amount=litres * kg_l, warm_c=warm)  # fmt: skip
        if say:
            self.marks.append((at_s, f"exchange {litres:.0f} L"))

    def pour(self, at_s: float, litres: float, kind: str, extra: Mapping[str, Any] | None = None) -> None:
        """Water poured in by hand: a top-off, or the wrong water."""
        self.exchange(at_s, litres, kind, extra, out_l=0.0, say=False)
        self.marks.append((at_s, f"{litres:.0f} L {kind}"))

    def add(self, at_s: float, substance: str, value: float, unit: str, *, say: bool = True) -> None:
        """Something put in by hand, as a journal's addition; poisons too (`copper`, in g).

        Raises
        ------
        BadInput
            For an amount without meaning, or an unknown substance (with near misses).
        """
        if substance in _POISONS:
            from leadline.measures import units

            held = np.zeros(at.N_STATES)
            held[_POISONS[substance]] = units.to_grams(value, unit or "g") * _PER_GRAM[substance]
        else:
            held = parcel(grams_of(substance, value, unit, self.plan.system.solutions))
        self._row(at_s, body=len(self.plan.bodies) - 1, parcel=self._parcel(held), amount=1.0, warm_c=22.0)
        if say:
            self.marks.append((at_s, f"{value:g} {unit} {substance}"))

    def feed(self, at_s: float, food: str, grams: float) -> None:
        """A meal: each member's fish eat their share of it, the rest is detritus."""
        c, n, f = food_moles(food, grams)
        held = np.zeros(at.N_STATES)
        held[[at.DET_C, at.DET_N, at.DET_P]] = c, n, f
        self._row(at_s, "left", parcel=self._parcel(held), amount=1.0, warm_c=22.0)
        for pool, amount in ((at.GUT_C, c), (at.GUT_N, n), (at.GUT_P, f)):
            self._row(at_s, "eaten", pool=pool, pool_add=amount)

    def refill(self, at_s: float) -> None:
        """Reservoir and containers filled to what the description says."""
        self._row(at_s, pool=at.RESERVOIR, value=self.plan.reservoir_kg)
        for k, litres in enumerate(self.plan.containers):
            self._row(at_s, pool=at.CAN_0 + k, value=litres)

    def bloom(self, at_s: float, kind: str, grams_dry: float) -> None:
        """So much of a bloom put in, or taken out when below zero: grams of dry mass."""
        if kind not in _BLOOMS:
            raise UnknownName("bloom", kind, list(_BLOOMS))
        self._row(at_s, pool=_BLOOMS[kind], pool_add=grams_dry / _DRY_G_PER_MOL.get(kind, 198.9))
        self.marks.append((at_s, kind if grams_dry > 0.0 else f"harvest {-grams_dry:g} g {kind}"))
        self.alive = True

    def change(self, at_s: float, machine: str, state: str, value: float | None = None) -> None:
        """A machine's state from a moment on; `value` stands for the usual one (a siphon's L/h, a room's kelvins).

        Raises
        ------
        UnknownName
            For a machine or state nobody knows here, with near misses.
        """
        if machine in ALWAYS:
            kind, number = machine, 0
        elif machine in self.plan.machines:
            kind, number = self.plan.machines[machine]
        else:
            raise UnknownName("equipment", machine, [*self.plan.machines, *ALWAYS])
        states = STATES[kind]
        if value is not None and not any(
            name.startswith(("SIPHON", "ROOM", "PROBE")) for name in states.get(state, {})
        ):
            if not 0.0 <= value <= 2.0:
                raise BadInput(f"value = {value:g} for {machine} {state}", way_out="Give a share of full, 0 to 2.")
            value = None if state in ("off", "stuck-on", "normal") else value
        if state not in states:
            raise UnknownName(f"state of a {kind}", state, list(states))
        if value is not None and kind in ("room", "doser"):
            if value < 0.0 and state != "cold":
                raise BadInput(f"value = {value:g} for {machine} {state}", way_out="Give how much, above zero.")
            value = -abs(value) if state == "cold" else value
        meant = {**states["normal"], **states[state]}  # what it was before is over
        for name, usual in meant.items():
            control = at.CONTROLS.index(name.replace("#", str(number)))
            use = value if value is not None and state != "normal" and name in states[state] else usual
            self._row(at_s, control=control, value=use)
        if state != "normal":
            self.marks.append((at_s, f"{machine} {state}"))
        else:
            self.marks.append((at_s, f"{machine} mended"))

    def set_control(self, at_s: float, control: str, value: float) -> None:
        """One control set, unsaid: for a record that drives the run, such as a room's measured warmth."""
        self._row(at_s, control=at.CONTROLS.index(control), value=value)

    def fed_rows(self) -> Array:
        """Which rows of `tables` are meals."""
        order = sorted(range(len(self.rows)), key=lambda i: (self.rows[i][0][ACT_STEP], i))
        return np.array([bool(self.rows[i][1]) for i in order], dtype=bool)

    def tables(self, drawn: Array) -> tuple[Array, Array]:
        """Acts of each member, in order of their step, and the parcels. `drawn` is the members' parameters."""
        order = sorted(range(len(self.rows)), key=lambda i: (self.rows[i][0][ACT_STEP], i))
        table = np.array([self.rows[i][0] for i in order]).reshape(len(order), N_ACT)
        acts = np.repeat(table[None], drawn.shape[0], axis=0)
        eaten = drawn[:, d.EATEN]
        for k, i in enumerate(order):
            by = self.rows[i][1]
            if by:
                share = eaten if by == "eaten" else 1.0 - eaten
                acts[:, k, ACT_AMOUNT] *= share
                acts[:, k, ACT_POOL_ADD] *= share
        parcels = np.array(self.parcels) if self.parcels else np.zeros((1, at.N_STATES))
        return np.ascontiguousarray(acts), parcels


_COLUMNS = {
    "out_kg": ACT_OUT_KG, "parcel": ACT_PARCEL, "amount": ACT_AMOUNT, "control": ACT_CONTROL, "value": ACT_VALUE,
    "pool": ACT_POOL, "pool_add": ACT_POOL_ADD, "warm_c": ACT_WARM_C,
}  # fmt: skip
