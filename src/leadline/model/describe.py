"""What a description says of vessels, room and machines, as parameters of the simulator."""

from __future__ import annotations

from typing import Any

import numpy as np

from leadline.measures.errors import BadInput
from leadline.model import layout as at
from leadline.model.blueprint import FILM_W_M2_K, SUMP_DEPTH_M, Blueprint, amount, clock_hour, parcel, water_parcel
from leadline.model.parameters import INDEX, PARAMETERS
from leadline.model.processes.flow import KG_L
from leadline.system.description import Equipment, System, Vessel

_APART = ("vat", "reservoir", "barrel", "make-up")  # vessels that are no part of the circuit
_CHILLER_GAIN = 2.0  # heat moved for each watt drawn: memory, 1.5 to 3
PLAIN_MIDDLE = {p.name: p.middle for p in PARAMETERS}


def blueprint(system: System) -> Blueprint:
    """The simulator's terms of a system.

    Raises
    ------
    BadInput
        For volumes, schedules and machines that can't be, with the field.
    """
    middle = np.array([0.0 if p.middle is None else p.middle for p in PARAMETERS])
    spread = np.array([p.spread for p in PARAMETERS])
    plan = Blueprint(
        system, (), np.zeros((0, at.N_PLACES)), middle, spread, {}, np.zeros((at.DOSERS, at.N_STATES)),
        water_parcel("ro"), [], 1e9,
    )  # fmt: skip
    sizes = _bodies(plan)
    _warmth(plan, sizes)
    _room(plan)
    for e in system.equipment:
        _machine(plan, e)
    _defaults(plan)
    return plan


def _volume(v: Vessel) -> float:
    if v.volume_l is not None and v.volume_l <= 0.0:
        raise BadInput(f"vessel {v.id}: a volume of {v.volume_l:g} L", way_out="A vessel holds more than nothing.")
    return v.volume_l or 0.0


def _bodies(plan: Blueprint) -> list[tuple[float, float, float]]:
    """Display and, when there is one, the vessel with the machines; gives length, depth and height of each. [m]"""
    system = plan.system
    circuit = [v for v in system.vessels if not any(w in v.id for w in _APART)]
    if not circuit:
        circuit = [Vessel("display", system.net_volume_l)]
        plan.notes.append("no vessel is described: one of the net volume is used")
    display = next((v for v in circuit if v.inner_size_m), circuit[0])
    rest = [v for v in circuit if v is not display]
    sump = next((v for v in rest if "sump" in v.id), rest[-1] if rest else None)
    if len(rest) > 1:
        others = ", ".join(v.id for v in rest if v is not sump)
        plan.notes.append(f"{others}: reckoned together with {sump.id if sump else 'the sump'}")
    gross = _volume(display) or system.net_volume_l
    lower = sum(_volume(v) for v in rest)
    if rest and lower <= 0.0:
        lower = 0.15 * gross
        plan.notes.append(f"no volume of {sump.id if sump else 'the sump'} given: 15 % of the display is used")
    total = gross + lower
    if total < 0.7 * system.net_volume_l:
        raise BadInput(
            f"system.net_volume is {system.net_volume_l:.0f} L, the vessels hold {total:.0f} L",
            way_out="Correct the vessels' sizes or the net volume.",
        )
    kg = system.net_volume_l * KG_L
    d_size = display.inner_size_m or _box(gross)
    names, shares, sizes = [display.id], [gross / total], [d_size]
    if rest:
        names.append(sump.id if sump else "sump")
        shares.append(lower / total)
        sizes.append(_box(lower, SUMP_DEPTH_M))
    plan.bodies = tuple(names)
    plan.places = np.zeros((len(names), at.N_PLACES))
    for b, (portion, size) in enumerate(zip(shares, sizes, strict=True)):
        area = size[0] * size[1] * (1.0 if b == 0 else 0.6)  # a sump in its cupboard: judgement
        spare = 0.04 * area * 1000.0  # four centimetres of freeboard
        plan.places[b, [at.AREA, at.LIFE, at.FULL]] = area, portion, kg * portion
        plan.places[b, at.BRIM] = kg * portion + spare * KG_L
    if rest:
        given = [v.spare_volume_l for v in rest if v.spare_volume_l is not None]
        spare = sum(given) if given else 0.35 * lower
        if not given:
            plan.notes.append(f"no spare_volume of {names[-1]} given: {spare:.0f} L is used")
        plan.places[1, at.BRIM] = plan.places[1, at.FULL] + spare * KG_L
        plan.places[0, at.DRAIN] = min(0.02 * d_size[0] * d_size[1] * 1000.0 * KG_L, 0.2 * plan.places[0, at.FULL])
        plan.places[:, at.LIFE] = 0.75, 0.25
    plan.places[0, at.LIVES] = 1.0
    plan.places[-1, at.PLANT] = 1.0
    return sizes


def _box(litres: float, height: float | None = None) -> tuple[float, float, float]:
    """Sides of a plain box twice as long as deep."""
    cubic = litres / 1000.0
    h = height or (cubic / 2.0) ** (1.0 / 3.0)
    depth = (cubic / h / 2.0) ** 0.5
    return 2.0 * depth, depth, h


def _warmth(plan: Blueprint, sizes: list[tuple[float, float, float]]) -> None:
    losses = []
    for length, depth, height in sizes:
        sides = 2.0 * (length + depth) * height * FILM_W_M2_K
        losses.append(sides + 0.5 * length * depth * FILM_W_M2_K + 4.0 * length * depth)  # bottom; air at the surface
    plan.set("WALL_W_K", sum(losses))
    plan.places[:, at.WALLS] = np.array(losses) / sum(losses)


def _room(plan: Blueprint) -> None:
    room = plan.system.room
    plan.set("ROOM_C", room.temperature_c)
    plan.set("ROOM_RH", room.relative_humidity)
    plan.set("ROOM_PPM", max(room.co2_ppm, 380.0))


def _machine(plan: Blueprint, e: Equipment) -> None:
    take = {
        "heater": _heater, "chiller": _chiller, "pump": _pump, "topoff": _topoff, "doser": _doser, "uv": _uv,
        "light": _light, "skimmer": _skimmer, "reactor": _reactor, "fan": _fan,
    }.get(e.type)  # fmt: skip
    if take is not None:
        take(plan, e, f"equipment {e.id}")
    elif e.type == "ups":
        plan.notes.append(f"{e.id}: what a battery keeps running is not simulated; give its pump no power cut")
    else:
        plan.notes.append(f"{e.id}: a {e.type or 'machine of no type'} is not simulated")


def _number(plan: Blueprint, kind: str) -> int:
    return sum(1 for k, _ in plan.machines.values() if k == kind)


def _heater(plan: Blueprint, e: Equipment, where: str) -> None:
    n = _number(plan, "heater")
    power = e.power_w
    if power is None:
        power = 0.3 * plan.system.net_volume_l
        plan.notes.append(f"{e.id}: no power given, {power:.0f} W is used (0.3 W per litre, common practice)")
    if n >= at.HEATERS:
        plan.set("HEATER_1_W", plan.value("HEATER_1_W") + power)
        plan.machines[e.id] = ("heater", at.HEATERS - 1)
        plan.notes.append(f"{e.id}: reckoned together with the second heater")
        return
    plan.machines[e.id] = ("heater", n)
    plan.set(f"HEATER_{n}_W", power)
    plan.set(f"HEATER_{n}_SET", _set_point(plan, e, 25.0, where))


def _set_point(plan: Blueprint, e: Equipment, usual: float, where: str) -> float:
    if e.setpoint_c is None:
        plan.notes.append(f"{e.id}: no setpoint given, {usual:.1f} °C is used")
        return usual
    if not 5.0 <= e.setpoint_c <= 40.0:
        raise BadInput(f"{e.setpoint_c:g} °C", where=f"{where}.setpoint", way_out="Give 5 to 40 °C.")
    return e.setpoint_c


def _chiller(plan: Blueprint, e: Equipment, where: str) -> None:
    plan.machines[e.id] = ("chiller", 0)
    power = e.power_w if e.power_w is not None else 0.4 * plan.system.net_volume_l
    plan.set("CHILLER_W", plan.value("CHILLER_W") + _CHILLER_GAIN * power, 0.2)
    plan.set("CHILLER_SET", _set_point(plan, e, 26.0, where))
    plan.notes.append(f"{e.id}: {_CHILLER_GAIN * power:.0f} W of heat moved is assumed, twice its power")


def _pump(plan: Blueprint, e: Equipment, where: str) -> None:
    flow = amount(e.rest["flow"], "flow", f"{where}.flow") if "flow" in e.rest else None
    plan.set("PUMP_W", plan.value("PUMP_W") + (e.power_w or 0.0))
    if ("return" in e.id or flow is not None) and "RETURN_L_H" not in plan.origin and "wave" not in e.id:
        plan.machines[e.id] = ("return", 0)
        if flow is not None:
            plan.set("RETURN_L_H", flow * (0.75 if "head" in e.rest else 1.0))
    else:
        plan.machines[e.id] = ("waves", _number(plan, "waves"))


def _topoff(plan: Blueprint, e: Equipment, where: str) -> None:
    plan.machines[e.id] = ("topoff", 0)
    if "rate" in e.rest:
        plan.set("FILL_L_H", amount(e.rest["rate"], "flow", f"{where}.rate"))
    if "reservoir" in e.rest:
        plan.reservoir_kg = amount(e.rest["reservoir"], "volume", f"{where}.reservoir")
    plan.water = water_parcel(str(e.rest.get("water", "ro")), co2_ppm=plan.system.room.co2_ppm)


def _doser(plan: Blueprint, e: Equipment, where: str) -> None:
    n = _number(plan, "doser")
    if n >= at.DOSERS:
        raise BadInput(f"{e.id} is one doser more than {at.DOSERS}", where=where, way_out="Put two into one.")
    plan.machines[e.id] = ("doser", n)
    recipes = plan.system.solutions
    recipe = recipes.get(e.substance) or recipes.get(f"{e.id}:{e.substance}")
    if recipe is None and e.substance == "calcium-hydroxide":
        recipe = {"calcium-hydroxide": 1.45}
        plan.notes.append(f"{e.id}: limewater of 1.45 g/L is assumed (common practice)")
    if recipe is None:
        plan.notes.append(f"{e.id}: no concentration given; it is left out")
        recipe = {}
    plan.solutions[n] = parcel(recipe)
    plan.solutions[n, at.WATER] += max(1.0 - 0.4 * sum(recipe.values()) / 1000.0, 0.0)
    per_day = (e.per_day_ml or 0.0) / 1000.0
    parts = _parts(e, where)
    if "rate" in e.rest:
        rate = _ml_min(e.rest["rate"], f"{where}.rate")
        if rate <= 0.0 and per_day > 0.0:
            raise BadInput("a rate of nothing with a daily amount", where=where, way_out="Give the pump's rate.")
        if per_day * 1000.0 > rate * 1440.0:
            raise BadInput(
                f"{per_day * 1000:.0f} mL a day at {rate:g} mL/min is more than a day's running",
                where=where, way_out="Correct per_day or rate.",
            )  # fmt: skip
    plan.set(f"DOSER_{n}_L_D", per_day)
    plan.set(f"DOSER_{n}_PARTS", parts)
    plan.containers.append(
        amount(e.rest["container"], "volume", f"{where}.container") if "container" in e.rest else 1e9
    )


def _parts(e: Equipment, where: str) -> float:
    """Portions a day: from a list of times, a number, or 24."""
    schedule: Any = e.rest.get("schedule")
    if schedule is None:
        return 24.0
    if isinstance(schedule, list):
        hours = [clock_hour(x, f"{where}.schedule") for x in schedule]
        if len(set(hours)) < len(hours):
            raise BadInput(
                f"{schedule!r} names a time twice", where=f"{where}.schedule", way_out="Name each time once."
            )
        return float(len(hours))
    try:
        parts = float(str(schedule).split("/")[0].split()[0])
    except (ValueError, IndexError):
        raise BadInput(
            f"{schedule!r} is no schedule", where=f"{where}.schedule",
            way_out='Give times, ["08:00", "20:00"], or portions a day, 24.',
        ) from None  # fmt: skip
    if not 0.0 < parts <= 1440.0:
        raise BadInput(f"{schedule!r} portions a day", where=f"{where}.schedule", way_out="Give 1 to 1440.")
    return parts


def _ml_min(raw: Any, where: str) -> float:
    text = str(raw).lower().replace(" ", "")
    if text.endswith("ml/min"):
        return amount(text.removesuffix("/min"), "volume", where) * 1000.0
    return amount(raw, "flow", where) * 1000.0 / 60.0


def _uv(plan: Blueprint, e: Equipment, where: str) -> None:
    plan.machines[e.id] = ("uv", 0)
    flow = amount(e.rest["flow"], "flow", f"{where}.flow") if "flow" in e.rest else plan.system.net_volume_l
    plan.set("UV_L_H", plan.value("UV_L_H") + flow)


def _light(plan: Blueprint, e: Equipment, where: str) -> None:
    plan.machines[e.id] = ("light", 0)
    plan.set("LAMP_W", plan.value("LAMP_W") + 0.45 * (e.power_w or 0.0))
    if "LIGHT_ON_H" in plan.origin or ("on" not in e.rest and "off" not in e.rest):
        return
    on = clock_hour(e.rest.get("on", "10:00"), f"{where}.on")
    off = clock_hour(e.rest.get("off", "20:00"), f"{where}.off")
    if on == off:
        raise BadInput(f"on and off are both {e.rest.get('on')}", where=where, way_out="Give two different times.")
    length = (off - on) % 24.0
    ramp = amount(e.rest["ramp"], "time", f"{where}.ramp") / 3600.0 if "ramp" in e.rest else min(1.0, length / 4.0)
    if 2.0 * ramp > length:
        raise BadInput(
            f"two ramps of {ramp:g} h don't fit into {length:g} h of light", where=f"{where}.ramp",
            way_out="Shorten the ramp, or correct on and off.",
        )  # fmt: skip
    plan.set("LIGHT_ON_H", on)
    plan.set("LIGHT_OFF_H", on + length)
    plan.set("LIGHT_RAMP_H", ramp)


def _skimmer(plan: Blueprint, e: Equipment, where: str) -> None:
    plan.machines[e.id] = ("skimmer", 0)
    plan.set("SKIMMER_AIR_L_H", 0.7 * plan.system.net_volume_l, origin="practice")
    plan.set("SKIMMATE_L_D", 0.0003 * plan.system.net_volume_l, origin="practice")
    if "skimmate" in e.rest:
        text = str(e.rest["skimmate"]).split("/")[0]
        plan.set("SKIMMATE_L_D", amount(text, "volume", f"{where}.skimmate"), 0.2)


def _reactor(plan: Blueprint, e: Equipment, where: str) -> None:
    what = f"{e.id} {e.substance} {e.rest.get('note', '')}".lower()
    litres = plan.system.net_volume_l
    if "calcium" in what or "calcite" in what or "aragonite" in what:
        plan.notes.append(f"{e.id}: a calcium reactor is not simulated; describe its daily alkalinity as a doser")
    elif "carbon" in what:
        plan.machines[e.id] = ("carbon", 0)
        plan.set("CARBON_KG_D", 2.0 * litres, origin="practice")
    elif any(word in what for word in ("phosph", "iron", "ferric", "alumin")):
        plan.machines[e.id] = ("media", 0)
        plan.set("MEDIA_L_D", 0.5 * litres, origin="practice")
        plan.set("MEDIA_MOL", 2.5e-5 * litres, origin="practice")
    else:
        plan.notes.append(f"{e.id}: what it holds is not said (carbon, iron …); it is left out")


def _fan(plan: Blueprint, e: Equipment, where: str) -> None:
    plan.machines[e.id] = ("fan", 0)


def _defaults(plan: Blueprint) -> None:
    """What practice says of whatever is still open."""
    litres, kg = plan.system.net_volume_l, plan.mass_kg
    display_m2 = float(plan.places[0, at.AREA])
    kinds = {k for k, _ in plan.machines.values()}
    if plan.value("PUMP_W") <= 0.0:
        plan.set("PUMP_W", 0.06 * litres, 0.6, origin="practice")
    if plan.value("LAMP_W") <= 0.0:
        plan.set("LAMP_W", 0.45 * 300.0 * display_m2 if "light" in kinds else 0.0, origin="practice")
    if "light" not in kinds:
        plan.notes.append("no light is described: daylight of the room from 8 to 18, weak, is used")
        plan.set("LIGHT_ON_H", 8.0, origin="practice")
        plan.set("LIGHT_OFF_H", 18.0, origin="practice")
    if "RETURN_L_H" not in plan.origin:
        plan.set("RETURN_L_H", 5.0 * litres, origin="practice")
    if "fan" not in kinds:
        plan.set("FAN_M_S", 0.0, 0.0)
    if "topoff" not in kinds:
        plan.notes.append("no top-off is described: fresh water by hand every evening is assumed")
        plan.set("FILL_L_H", 0.05 * litres + 20.0, 0.0)
        plan.set("FILL_SPAN_KG", 1e-4 * kg, 0.0)
    demand = 0.25 if "light" in kinds else 0.05  # dKH/day
    plan.set("DEMAND_EQ_D", demand * 0.356652e-3 * litres, 0.5, origin="practice")
    bright = 1.0 if "light" in kinds else 0.15
    plan.set("PRODUCTION", (25.0 + 8.0 * demand) * 1e-6 * kg * bright, origin="practice")
    plan.set("N_UPTAKE", 0.4e-3 / 62.0 * litres, origin="practice")
    plan.set("P_UPTAKE", 0.08e-3 / 95.0 * litres, origin="practice")
    plan.set("AOB_MOL_D", 8.0 * 0.003 * 76e-3 / 14.007 * litres, origin="practice")
    plan.set("ROOM_N", 0.6 * display_m2, origin="practice")
    for name in ("HEATER_0_W", "HEATER_1_W", "CHILLER_W"):
        if plan.value(name) <= 0.0:
            plan.spread[INDEX[name]] = 0.0
