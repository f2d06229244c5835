"""`leadline simulate`: an ensemble of one system run ahead, as fan charts, a table and JSON."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from leadline.cli.output import emit, table
from leadline.measures.errors import BadInput, Unreachable

if TYPE_CHECKING:
    from leadline.cli.main import Bridge
    from leadline.model.outcome import Outcome, Passage

_SHOWN = (
    "temperature",
    "salinity",
    "alkalinity",
    "calcium",
    "magnesium",
    "ph",
    "nitrate",
    "phosphate",
    "ammonia",
    "oxygen",
)
_CHARTED = (*_SHOWN, "potassium", "nitrite", "silicate", "copper", "coral", "dinoflagellates", "toxin", "plant_volume")


@click.command(short_help="What a system will do: an ensemble, as it is or with a scenario.")
@click.argument("system")
@click.option("--days", type=float, default=30.0, show_default=True, help="How far ahead.")
@click.option("--members", type=int, default=200, show_default=True, help="How many, each with its own draw.")
@click.option("--with", "with_file", metavar="FILE", help="A scenario: faults, acts, absence, another start (TOML).")
@click.option("--out", metavar="FOLDER", help="Where charts and JSON go; simulation-SYSTEM by default.")
@click.option("--truth", metavar="FOLDER", help="Write one member as system.toml, journal.csv, streams.csv, truth.csv.")
@click.option("--step", default="10 min", show_default=True, help="The step; it divides an hour.")
@click.option(
    "--seed",
    type=click.IntRange(0),
    default=1,
    show_default=True,
    help="Which draws; the same seed gives the same run.",
)
@click.pass_obj
def simulate(
    bridge: Bridge, system: str, days: float, members: int, with_file: str | None, out: str | None, truth: str | None,
    step: str, seed: int,
) -> None:  # fmt: skip
    """Run SYSTEM ahead from what is believed of it now; each member draws its own water, room, animals and machines.

    The keeper's usual feeding, exchanges and doses go on, as the journal tells them. What the description and the
    journal leave open is drawn from practice, and named. It is a forecast of the model, not of your animals.

    \b
    Examples:
      leadline simulate north-room --days 30
      leadline simulate north-room --days 3 --with chiller.toml --members 500
      leadline simulate north-room --days 60 --truth made-up --seed 7
    """
    from leadline.app import describe
    from leadline.app import simulate as app
    from leadline.model.scenario import span_s
    from leadline.wiring import compiled_folder

    if truth and out:
        raise BadInput("--truth and --out together", way_out="Give one of them: --truth writes one member, no charts.")
    step_s = span_s(step, "--step")
    text = _read(with_file) if with_file else None
    if truth and (there := [n for n in ("system.toml", "journal.csv", "streams.csv") if (Path(truth) / n).exists()]):
        raise BadInput(
            f"{', '.join(there)} would be written over", where=truth, way_out="Name a new folder after --truth."
        )
    folder = truth or out or (None if bridge.json else f"simulation-{system}")
    common: dict[str, Any] = {
        "days": days, "seed": seed, "step_s": step_s, "with_text": text, "cache": compiled_folder(),
        "as_of": bridge.as_of(system), "say": lambda line: click.echo(line, err=True),
    }  # fmt: skip
    describe.load(bridge.store(), system)  # an unknown system is said before a folder is made
    if folder:
        _write_all(folder, {})
    if truth:
        from leadline.app import make_up

        with _of_file(with_file):
            written = make_up.member(bridge.store(), bridge.clock, system, **common)
        _write_all(truth, written)
        if bridge.json:
            emit({"schema": "leadline.truth/1", "system": system, "folder": truth, "files": sorted(written)})
        else:
            click.echo(f"Written to {truth}: {', '.join(written)}. Made up by the simulator; nobody measured it.")
            click.echo(f"They carry the name {system}: import them into a store of their own (--db made-up.db).")
            if not describe.load(bridge.store(), system).streams:
                click.echo(f"{system} describes no probes, so streams.csv is empty.")
        return
    with _of_file(with_file):
        found = app.simulate(bridge.store(), bridge.clock, system, members=members, **common)
    if bridge.json:
        emit(as_json(found))
    if folder is None:
        return
    files = charts(found)
    files["outcome.json"] = _text(as_json(found))
    _write_all(folder, files)
    if not bridge.json:
        _show(found, folder, len(files) - 1)


def _read(path: str) -> str:
    try:
        return Path(path).read_text(encoding="utf-8")
    except FileNotFoundError:
        raise BadInput("there is no such file", where=path, way_out="Check the name after --with.") from None
    except IsADirectoryError:
        raise BadInput("is a folder", where=path, way_out="Name the file after --with.") from None
    except (OSError, UnicodeDecodeError) as exc:
        raise BadInput(f"cannot be read: {exc}", where=path, way_out="Save it as plain text, UTF-8.") from exc


@contextlib.contextmanager
def _of_file(path: str | None) -> Iterator[None]:
    """Errors of a scenario name its file."""
    try:
        yield
    except BadInput as exc:
        part = exc.where.split(" ")[0].split(".")[0]
        if path and (
            part in ("change", "act", "usual", "start", "parameter")
            or exc.what.startswith(("not valid TOML", "unknown key", "["))
        ):
            where = f"{path}, {exc.where}" if exc.where else path
            raise BadInput(exc.what, where=where, way_out=exc.way_out) from exc
        raise


def _text(value: Any) -> str:
    from leadline.app.answers import written

    return written(value)


def _write_all(folder: str, files: dict[str, str]) -> None:
    place = Path(folder)
    try:
        place.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            (place / name).write_text(content, encoding="utf-8", newline="")
    except OSError as exc:
        raise Unreachable(f"cannot write: {exc.strerror}", where=folder, way_out="Choose another folder.") from exc


def as_json(o: Outcome) -> dict[str, Any]:
    """`leadline.simulation/1`: quantiles of every quantity along time, and each edge with its chance and hours."""
    from leadline.measures.quantities import QUANTITIES
    from leadline.model.outcome import KEYS, MORE

    quantities: dict[str, Any] = {}
    for name, rows in o.quantiles.items():
        unit = QUANTITIES[name].unit if name in QUANTITIES else MORE.get(name, "1")
        quantities[name] = {
            "unit": unit,
            **{key: [_number(v) for v in row] for key, row in zip(KEYS, rows, strict=True)},
        }
        if name in o.passages:
            quantities[name]["passes"] = [_passage(p) for p in o.passages[name]]
    return {
        "schema": "leadline.simulation/1", "system": o.system.id, "begin": o.begin, "days": o.days,
        "members": o.members, "seed": o.seed, "step_s": o.step_s, "scenario": o.scenario or None,
        "times": [o.moment(t) for t in o.times_s], "quantities": quantities,
        "acts": [{"time": o.moment(t), "what": words} for t, words in o.marks],
        "left_the_model": o.left, "assumed": list(o.notes), "parameters_from": dict(o.sources),
    }  # fmt: skip


def _passage(p: Passage) -> dict[str, Any]:
    return {
        "edge": p.edge, "at": p.at, "chance": p.chance,
        "hours": None if p.hours is None else dict(zip(("q05", "q50", "q95"), p.hours, strict=True)),
    }  # fmt: skip


def _number(value: float) -> float | None:
    return None if value != value else float(f"{value:.6g}")


def charts(o: Outcome) -> dict[str, str]:
    """File name to SVG, one fan a quantity that is known or moves."""
    from leadline.measures.moments import zone
    from leadline.model.outcome import KEYS, MORE
    from leadline.present import sentences
    from leadline.present.charts.fan import Fan, svg

    local = zone(o.system.time_zone)
    times = tuple(o.moment(t) for t in o.times_s)
    together: dict[float, list[str]] = {}
    for t, words in o.marks:
        together.setdefault(t, []).append(words)
    marks = tuple((o.moment(t), ", ".join(dict.fromkeys(words))) for t, words in sorted(together.items()))
    files = {}
    for name in _CHARTED:
        rows = o.quantiles.get(name)
        if rows is None or (name not in _SHOWN and not (rows[-1] > 0.0).any()):
            continue
        band = o.system.band(name)
        passes = []
        for p in o.passages.get(name, ()):
            if p.hours is not None and p.chance >= 0.05:
                when = o.moment(p.hours[1] * 3600.0)
                word = p.edge.split("_")[0]
                passes.append((when, f"{word}, {when.astimezone(local).strftime('%-d %b')}, {100 * p.chance:.0f} %"))
        fan = Fan(
            name, f"{sentences.titled(name)}, {o.system.name}", times,
            {k: [float(v) for v in r] for k, r in zip(KEYS, rows, strict=True)},
            aim=band.aim if band else None, limit=band.limit if band else None,
            marks=marks, passes=tuple(passes), unit=MORE.get(name, ""),
        )  # fmt: skip
        files[f"{name}.svg"] = svg(fan, units=o.system.units, local=local)
    return files


def _show(o: Outcome, folder: str, drawn: int) -> None:
    import numpy as np

    from leadline.measures import figures
    from leadline.present import sentences

    head = f"{o.system.name}: {o.days:g} days ahead, {o.members} members" + (f", {o.scenario}" if o.scenario else "")
    click.echo(head)
    rows = []
    for name in _SHOWN:
        q = o.quantiles.get(name)
        if q is None:
            continue
        way = figures.display(name, o.system.units)
        end = next((k for k in range(q.shape[1] - 1, -1, -1) if q[2, k] == q[2, k]), 0)

        def said(value: float, way: Any = way) -> str:
            return figures.number(way.shown(value), way.digits)

        rows.append(
            [sentences.titled(name), said(q[2, 0]), said(q[2, end]), f"{said(q[0, end])} to {said(q[4, end])}",
             f"{said(float(np.nanmin(q[0])))} to {said(float(np.nanmax(q[4])))}",
             way.label, _edges(o, name)]
        )  # fmt: skip
    click.echo(table(["", "now", "then", "5 to 95 %", "lowest to highest", "", "passes"], rows, {1, 2, 3, 4}))
    spilt = o.quantiles["floor"][:, -1]
    if spilt[4] > 1.0:
        click.echo(f"On the floor by then: {spilt[2]:.0f} L ({spilt[0]:.0f} to {spilt[4]:.0f}).")
    if o.left:
        click.echo(
            f"{o.left} of {o.members} members left the water the model can answer for (1 to 45 °C, salinity 2 to 60)."
        )
    for note in o.notes[:8]:
        click.echo(click.style(f"Assumed: {note}.", dim=True))
    if len(o.notes) > 8:
        click.echo(click.style(f"… and {len(o.notes) - 8} more, in outcome.json.", dim=True))
    click.echo(f"{drawn} charts and outcome.json are in {folder}.")


def _edges(o: Outcome, name: str) -> str:
    """Edges that are passed, the gravest first: limits from a chance of 1 %, aims from 5 %, two at most."""
    words = {"limit_low": "under its limit", "limit_high": "over its limit", "aim_low": "under its aim",
             "aim_high": "over its aim"}  # fmt: skip
    found = []
    for edge, said in words.items():
        for p in o.passages.get(name, ()):
            if p.edge == edge and p.hours is not None and p.chance >= (0.01 if edge.startswith("limit") else 0.05):
                when = "now" if p.hours[1] < 1.0 else f"after {_span(p.hours[1])}"
                found.append(f"{said} {100 * p.chance:.0f} %, {when}")
    return "; ".join(found[:2])


def _span(hours: float) -> str:
    return f"{hours:.0f} h" if hours < 72.0 else f"{hours / 24.0:.0f} d"
