"""Faults for the bench of the watch: what breaks, how badly, and when it hurts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from bench.watch_water import DAY, Life

HOUR = 3600.0
Do = Callable[[Life, float], None]


@dataclass(frozen=True)
class Fault:
    """One way to break.

    Attributes
    ----------
    known_by
        Beginnings of the names of findings that tell of it.
    hurts
        Hours until harm by judgement (census); None: when the true water passes a limit.
    fault_d, days
        Day it breaks, and how long is lived.
    """

    name: str
    kind: str
    do: Do
    known_by: tuple[str, ...]
    room_c: float = 21.6
    hurts: float | None = None
    fault_d: float = 9.0
    days: float = 14.0
    reservoir: str = ""


def _state(machine: str, state: str) -> Do:
    return lambda life, at: life.acts.change(at, machine, state)


def _control(**controls: float) -> Do:
    def do(life: Life, at: float) -> None:
        for name, value in controls.items():
            life.acts.set_control(at, name, value)

    return do


def _says(stream: str, value: float, only: float | None = None) -> Do:
    """What a machine reports of itself from then on, whatever it does (`only`: where it would have said so)."""

    def do(life: Life, at: float) -> None:
        begin = life.basin.begin.timestamp() + at

        def change(found: dict[str, tuple[np.ndarray, np.ndarray]]) -> None:
            t, v = found[stream]
            late = t >= begin
            found[stream] = t, np.where(late if only is None else late & (v == only), value, v)

        life.report.append(change)

    return do


def _welded(machine: str, force: str, off_when: Callable[[np.ndarray], np.ndarray]) -> Do:
    """A contact that sticks, while the controller goes on to say what it asks for."""

    def do(life: Life, at: float) -> None:
        life.acts.set_control(at, force, 1.0)
        begin = life.basin.begin.timestamp() + at

        def change(found: dict[str, tuple[np.ndarray, np.ndarray]]) -> None:
            t, v = found[machine]
            warm = np.interp(t, *found["temperature"])
            found[machine] = t, np.where((t >= begin) & off_when(warm), 0.0, v)

        life.report.append(change)

    return do


def _all(*parts: Do) -> Do:
    def do(life: Life, at: float) -> None:
        for p in parts:
            p(life, at)

    return do


def _later(hours: float, part: Do) -> Do:
    return lambda life, at: part(life, at + hours * HOUR)


def _wave(kelvins: float, hours: float) -> Do:
    def do(life: Life, at: float) -> None:
        h = at / HOUR
        life.room(np.array([h, h + hours, life.days * 24.0]), np.array([0.0, kelvins, kelvins]))

    return do


def _pump(share: float, watts: float) -> Do:
    return lambda life, at: life.stop(at, life.days * DAY, share, watts)


def _leak(litres_d: float) -> Do:
    """Salt water is lost, little by little; the top-off replaces it."""

    def do(life: Life, at: float) -> None:
        for t in np.arange(at, life.days * DAY, 1800.0):
            life.acts.exchange(float(t), 0.0, out_l=litres_d / 48.0, say=False)

    return do


def _drip(litres_h: float) -> Do:
    """Fresh water comes in by a siphon that no state tells of."""

    def do(life: Life, at: float) -> None:
        for t in np.arange(at, life.days * DAY, 600.0):
            life.acts.pour(float(t), litres_h / 6.0, "ro")

    return do


def _spirit(ml: float, every_d: float, more: float) -> Do:
    """A carbon source given too freely, more each time: bacteria breathe."""

    def do(life: Life, at: float) -> None:
        for k, t in enumerate(np.arange(at, life.days * DAY, every_d * DAY)):
            life.acts.add(float(t), "ethanol-40", ml * (1.0 + more * k), "mL")

    return do


def _fewer(control: str, per_day: float) -> Do:
    def do(life: Life, at: float) -> None:
        for k, t in enumerate(np.arange(at, life.days * DAY, DAY)):
            life.acts.set_control(float(t), control, max(1.0 - per_day * (k + 1), 0.0))

    return do


_WARMTH = ("temperature-heading", "temperature-drifts")
_HOT, _COLD = ("chiller-1-", *_WARMTH), ("heater-1-", *_WARMTH)
_SALT = ("topoff-1-", "salinity-heading", "salinity-drifts")
_O2 = ("oxygen-",)
FAULTS: tuple[Fault, ...] = (
    Fault("chiller heats by half its power", "great-reef", _state("chiller-1", "warms"), _HOT, 25.5),
    Fault("chiller heats a little", "great-reef", _control(CHILLER_EFFECT=-0.15), _HOT, 26.0),
    Fault("chiller heats strongly", "great-reef", _control(CHILLER_EFFECT=-0.9), _HOT, 25.0),
    Fault("chiller moves nothing", "great-reef", _state("chiller-1", "no-effect"), _HOT, 27.5),
    Fault("chiller moves a fifth", "great-reef", _control(CHILLER_EFFECT=0.2), _HOT, 29.5),
    Fault("chiller moves two fifths", "great-reef", _state("chiller-1", "weak"), _HOT, 33.0, days=18.0),
    Fault("chiller stays off", "great-reef", _state("chiller-1", "off"), _HOT, 27.5),
    Fault("chiller dies in a heat wave", "great-reef",
          _all(_later(-30.0, _wave(6.0, 12.0)), _state("chiller-1", "no-effect")), _HOT, 26.0),
    Fault("chiller stays on", "great-reef", _state("chiller-1", "stuck-on"), _HOT, 21.0),
    Fault("chiller stays on, says off", "great-reef",
          _welded("chiller-1", "CHILLER_FORCE", lambda t: t < 25.4), (*_HOT, *_COLD), 21.0),
    Fault("heater stays on, chiller hides it two days, then dies", "great-reef",
          _all(_state("heater-1", "stuck-on"), _later(48.0, _state("chiller-1", "no-effect"))), (*_COLD, *_HOT), 23.5),
    Fault("heater stays on, chiller out of use", "great-reef",
          _all(_state("chiller-1", "off"), _state("heater-1", "stuck-on")), (*_COLD, *_HOT), 23.5),
    Fault("heater stays on", "lagoon", _state("heater-1", "stuck-on"), _COLD, 23.5),
    Fault("heater stays on, cool room", "lagoon", _state("heater-1", "stuck-on"), _COLD, 22.0),
    Fault("heater stays on, says off", "lagoon",
          _welded("heater-1", "HEATER_0_FORCE", lambda t: t > 25.4), _COLD, 23.0),
    Fault("heater is dead, says on", "lagoon", _state("heater-1", "no-effect"), _COLD, 18.0),
    Fault("heater is off", "lagoon", _state("heater-1", "off"), _COLD, 18.5),
    Fault("heater gives half", "lagoon", _state("heater-1", "weak"), _COLD, 17.0),
    Fault("controller's thermometer reads 4 K low", "lagoon", _control(PROBE_OFFSET=-4.0), _COLD, 23.0),
    Fault("controller's thermometer stands still", "lagoon", _control(PROBE_STUCK=24.0), _COLD, 23.0),
    Fault("heater stays on", "quarantine", _state("heater-1", "stuck-on"), _COLD, 22.0),
    Fault("heater stays on, says off", "quarantine",
          _welded("heater-1", "HEATER_0_FORCE", lambda t: t > 25.25), _COLD, 22.0),
    Fault("heater is dead, says on", "quarantine", _state("heater-1", "no-effect"), _COLD, 20.0),
    Fault("heater is off", "quarantine", _state("heater-1", "off"), _COLD, 20.0),
    Fault("heater gives a third", "quarantine", _control(HEATER_0_EFFECT=0.33), _COLD, 18.5),
    Fault("heat wave", "lagoon", _wave(8.0, 24.0), _COLD, 23.5),
    Fault("heat wave, quick", "quarantine", _wave(9.0, 6.0), _COLD, 22.5),
    Fault("heating of the house fails", "lagoon", _wave(-10.0, 12.0), _COLD, 20.0),
    Fault("return pump stops", "great-reef", _pump(0.0, 0.0), ("return-pump-",), hurts=6.0),
    Fault("return pump stops, hot", "great-reef", _pump(0.0, 0.0), ("return-pump-",), 27.0, hurts=4.0),
    Fault("return pump draws air", "great-reef", _pump(0.3, 0.55), ("return-pump-",), hurts=12.0),
    Fault("return pump half clogged", "great-reef", _pump(0.5, 0.76), ("return-pump-",), hurts=72.0),
    Fault("return pump stops", "lagoon", _pump(0.0, 0.0), ("return-pump-",), hurts=6.0),
    Fault("only pump stops", "quarantine", _pump(0.0, 0.0), ("pump-1-", "oxygen-"), hurts=6.0),
    Fault("top-off stays on, open line", "great-reef", _state("topoff-1", "stuck-on"), _SALT, reservoir="5000 L"),
    Fault("top-off stays on, large barrel", "lagoon", _state("topoff-1", "stuck-on"), _SALT, reservoir="200 L"),
    Fault("top-off siphons 4 L/h, says off", "lagoon", _drip(4.0), _SALT),
    Fault("top-off siphons 1 L/h, says off", "lagoon", _drip(1.0), _SALT),
    Fault("top-off stays off", "lagoon", _state("topoff-1", "off"), _SALT, days=34.0),
    Fault("top-off stays off", "great-reef", _state("topoff-1", "off"), _SALT, 24.0, days=40.0),
    Fault("reservoir empty, pump runs dry", "lagoon", _all(_state("topoff-1", "off"), _says("topoff-1", 1.0)), _SALT,
          days=24.0),
    Fault("leak of 10 L a day", "lagoon", _leak(10.0), _SALT, days=24.0),
    Fault("leak of 3 L a day", "lagoon", _leak(3.0), _SALT, days=50.0),
    Fault("leak of 60 L a day", "great-reef", _leak(60.0), _SALT, days=24.0),
    Fault("carbon source overdosed at once", "great-reef", _spirit(130.0, 99.0, 0.0), _O2),
    Fault("carbon source overdosed, more each day", "great-reef", _spirit(40.0, 1.0, 0.3), _O2, days=24.0),
    Fault("carbonate doser gives tenfold", "great-reef", _control(DOSER_0=10.0), ("ph-",)),
)  # fmt: skip
