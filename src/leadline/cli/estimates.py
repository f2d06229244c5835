"""`leadline estimate`: every quantity, how sure, and the running calibration."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from leadline.cli.output import emit, table
from leadline.measures.errors import BadInput

if TYPE_CHECKING:
    from leadline.cli.main import Bridge
    from leadline.estimate.report import SystemEstimate


@click.command(short_help="What every quantity is now, and how sure that is.")
@click.argument("system", required=False)
@click.option("--check", is_flag=True, help="Show how honest the estimates were: each reading judged before use.")
@click.option("--why", metavar="QUANTITY", help="Say what one number rests on.")
@click.pass_obj
def estimate(bridge: Bridge, system: str | None, check: bool, why: str | None) -> None:
    """Every quantity of SYSTEM (the only one, when not named): mean, spread, chance of being outside its band.

    \b
    Examples:
      leadline estimate north-room
      leadline estimate north-room --json
      leadline estimate north-room --as-of 2026-01-15T08:00
      leadline estimate north-room --why salinity
      leadline estimate north-room --check
    """
    from leadline.app import enquire

    store = bridge.store()
    if system is None:
        known = store.systems()
        if len(known) != 1:
            raise BadInput("which system?", way_out=f"Known: {', '.join(known) or 'none yet'}.")
        system = known[0]
    if check:
        _check(bridge, system)
        return
    e = enquire.estimate(store, bridge.clock, system, bridge.as_of(system))
    if why is not None:
        _why(bridge, system, why)
        return
    if bridge.json:
        from leadline.app.answers import water

        emit(water.estimate(e))
        return
    _show(e)


def _show(e: SystemEstimate) -> None:
    from leadline.measures import figures
    from leadline.measures.moments import days_between, zone

    click.echo(f"{click.style(e.name, bold=True)}, {figures.long_moment(e.as_of, zone(e.time_zone))}")
    click.echo(f"Net volume {e.net_volume_l:.0f} ± {e.net_volume_sd_l:.0f} L (stated {e.net_volume_stated_l:.0f} L)")
    rows = []
    for q in e.quantities.values():
        shown = figures.figure(q.mean, q.sd, q.quantity, e.units)
        age = figures.span(days_between(q.last_reading.time, e.as_of)) if q.last_reading else "never measured"
        aim = figures.band(q.aim, q.quantity, e.units) if q.aim else ""
        out = figures.chance(q.p_outside_aim) if q.aim else ""
        week = next(o for o in q.forecast if o.days == 7.0)
        in_week = figures.chance(week.p_outside_aim) if q.aim else ""
        rows.append([q.quantity, f"{shown.value} ± {shown.sd}", shown.label, age, aim, out, in_week])
    click.echo(table(["quantity", "now", "", "last reading", "aim", "outside now", "in 7 days"], rows, {1}))
    for q in e.quantities.values():
        for d in q.doubtful:
            said = f"looks like {d.guess}" if d.kind == "slip" else f"may be a {d.kind}"
            click.echo(click.style(f"? {q.quantity} {d.typed}: {said} (entry {d.id})", fg="magenta"))
    for warning in e.warnings:
        click.echo(click.style(f"note: {warning}", dim=True))


def _why(bridge: Bridge, system: str, quantity: str) -> None:
    from leadline.app import explain
    from leadline.measures import figures
    from leadline.measures.moments import zone
    from leadline.present import sentences
    from leadline.present import why as said

    x = explain.explain(bridge.store(), bridge.clock, system, quantity, bridge.as_of(system))
    q, e = x.quantity, x.estimate
    if bridge.json:
        emit({
            "schema": "leadline.why/1", "system": e.system, "quantity": q.quantity, "mean": q.mean, "sd": q.sd,
            "unit": q.unit, "why": list(q.why), "rests_on": list(q.rests_on),
            "shares": [{"from": name, "share": share} for name, share in x.shares],
            "readings": [
                {"id": r.id, "time": r.time, "value": r.value, "sd": r.sd, "method": r.method, "expected": r.expected,
                 "expected_sd": r.expected_sd, "p_blunder": r.blunder, "p_step": r.step}
                for r in x.readings
            ],
        })  # fmt: skip
        return
    local = zone(e.time_zone)
    way = figures.display(quantity, e.units, q.unit)
    click.echo(f"{q.quantity}: {figures.figure(q.mean, q.sd, q.quantity, e.units)}")
    for line in q.why:
        click.echo(f"  {line}")
    for words, n in said.shares_said(x.shares):
        click.echo(f"  {n:3d} % of its variance: {words}")
    click.echo(f"  {said.surer(x.shares, q.test_settles, sentences.name(quantity))}")
    for r in x.readings:
        value = way.with_unit(figures.number(way.shown(r.value), way.digits))
        judged = said.judged(r.value, r.expected, r.expected_sd, r.blunder, r.step)
        click.echo(
            f"  {figures.moment(r.time, local)}: {value}, {r.method or 'method not said'}, {judged} (entry {r.id})"
        )


def _check(bridge: Bridge, system: str) -> None:
    from leadline.app import enquire

    found = enquire.check(bridge.store(), bridge.clock, system, bridge.as_of(system))
    if bridge.json:
        emit({
            "schema": "leadline.check/1", "system": system,
            "quantities": {
                q: {
                    "readings": c.readings, "hits_50": c.hits_50, "hits_90": c.hits_90,
                    "hits_90_expected": list(c.within),
                    "crps": c.crps, "crps_last_reading": c.crps_last, "pit": list(c.pit), "verdict": c.verdict,
                }
                for q, c in found.items()
            },
        })  # fmt: skip
        return
    if not found:
        click.echo("Fewer than four readings of any quantity: nothing to judge yet.")
        return
    words = {"few": "too few to say", "good": "honest", "narrow": "too sure of itself", "wide": "too unsure"}
    rows = [
        [
            q, str(c.readings), f"{100 * c.hits_50 / max(c.readings, 1):.0f} %",
            f"{100 * c.hits_90 / max(c.readings, 1):.0f} %", f"{c.within[0]}–{c.within[1]} of {c.readings}",
            f"{c.crps / c.crps_last:.2f}" if c.crps_last > 0 else "", words[c.verdict],
        ]
        for q, c in found.items()
    ]  # fmt: skip
    head = ["quantity", "readings", "in 50 %", "in 90 %", "chance allows", "score / last reading", "verdict"]
    click.echo(table(head, rows, {1, 2, 3, 5}))
    click.echo(
        "Each reading was judged against what was expected just before it. A score below 1 beats repeating the last."
    )
