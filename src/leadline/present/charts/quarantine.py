"""A quarantine along its days: looks, treatments and their windows, photographs, and the earliest end."""

from __future__ import annotations

import datetime as dt
from html import escape

from leadline.livestock.quarantine import Plan
from leadline.measures.figures import day

_ROW, _TOP, _FOOT = 42.0, 8.0, 40.0


def svg(plan: Plan, now: dt.datetime, *, local: dt.tzinfo, ident: str) -> str:
    """The picture as one `<svg>` element: windows white in the channel, what was done as fixes, what is due dashed."""
    dates = [plan.started, now, *(s.opens for s in plan.steps), *(s.closes for s in plan.steps if s.closes is not None)]
    dates += [s.done for s in plan.steps if s.done is not None]
    first = min(dates)
    last = max([*dates, *([plan.release] if plan.release else [])])
    span = (last - first).total_seconds() or 1.0
    first -= dt.timedelta(seconds=0.02 * span)
    last += dt.timedelta(seconds=0.03 * span)
    span = (last - first).total_seconds()

    def x(moment: dt.datetime) -> float:
        return 100.0 * (moment - first).total_seconds() / span

    rows = ("Treatments", "Photographs", "Observed")
    foot = _TOP + _ROW * len(rows)
    parts = [f'<rect class="shoal" x="0" y="{_TOP}" width="100%" height="{foot - _TOP:.0f}"/>']
    for i, name in enumerate(rows):
        y = _TOP + _ROW * i
        parts.append(f'<text class="row" x="6" y="{y + 14:.0f}">{name}</text>')
        parts.append(f'<line class="tick" x1="0" x2="100%" y1="{y + _ROW:.0f}" y2="{y + _ROW:.0f}"/>')
    said: list[str] = []
    for s in plan.steps:
        row = 0 if s.action == "treat" else 1 if s.key.startswith("photo") else None
        if row is None:
            continue
        y = _TOP + _ROW * row + 29.0
        if s.closes is not None and s.state != "done":
            width = max(x(s.closes) - x(s.opens), 0.8)
            parts.append(
                f'<rect class="window {s.state}" x="{x(s.opens):.2f}%" y="{y - 9:.0f}" width="{width:.2f}%" '
                'height="16">'
                f"<title>{escape(s.what)}: {day(s.opens, local)} to {day(s.closes, local)}</title></rect>"
            )
            said.append(f"{s.what} {day(s.opens, local)} to {day(s.closes, local)}, {s.state}")
        at = s.done or (s.opens if s.closes is None else None)
        if at is not None:
            dot = '<circle class="dot" r="1.6"/>' if s.state == "done" else ""
            parts.append(
                f'<svg class="fix {s.state}" x="{x(at):.2f}%" y="{y:.0f}" overflow="visible"><circle r="6"/>{dot}'
                f"<title>{escape(s.what)}, {day(at, local)}</title></svg>"
            )
            said.append(f"{s.what} {day(at, local)}, {s.state}")
    y = _TOP + _ROW * 2 + 29.0
    parts.append(
        f'<line class="course" x1="{x(plan.started):.2f}%" x2="{x(now):.2f}%" y1="{y:.0f}" y2="{y:.0f}"/>'
    )  # fmt: skip
    if plan.release is not None:
        parts.append(
            f'<line class="course ahead" x1="{x(now):.2f}%" x2="{x(max(plan.release, now)):.2f}%" y1="{y:.0f}" '
            f'y2="{y:.0f}"/>'
            f'<line class="meets" x1="{x(plan.release):.2f}%" x2="{x(plan.release):.2f}%" y1="{_TOP}" y2="{foot:.0f}"/>'
            f'<text class="meets-said" x="{x(plan.release):.2f}%" y="{foot + 32:.0f}" text-anchor="end">'
            f"not before {day(plan.release, local, now)}</text>"
        )
    for at, sign in plan.signs:
        parts.append(
            f'<svg class="sign" x="{x(at):.2f}%" y="{y:.0f}" overflow="visible"><path d="M0,-7 L7,0 L0,7 L-7,0 Z"/>'
            f"<title>{escape(sign.replace('-', ' '))}, {day(at, local)}</title></svg>"
        )
        said.append(f"{sign.replace('-', ' ')} seen {day(at, local)}")
    parts.append(f'<line class="today" x1="{x(now):.2f}%" x2="{x(now):.2f}%" y1="{_TOP}" y2="{foot:.0f}"/>')
    begin_at, now_at = x(plan.started), x(now)
    if now_at - begin_at > 18.0:
        parts.append(
            f'<text class="date" x="{begin_at:.2f}%" y="{foot + 15:.0f}">{day(plan.started, local, now)}</text>'
        )
    parts.append(f'<text class="date now" x="{now_at:.2f}%" y="{foot + 15:.0f}" text-anchor="middle">today</text>')
    title = f"Quarantine since {day(plan.started, local)}"
    if plan.release is not None:
        said.append(f"not before {day(plan.release, local)}")
    return (
        f'<svg class="chart quarantine" role="img" aria-labelledby="{ident}-t {ident}-d" width="100%" '
        f'height="{foot + _FOOT:.0f}"><title id="{ident}-t">{escape(title)}</title>'
        f'<desc id="{ident}-d">{escape("; ".join(said))}.</desc>{"".join(parts)}</svg>'
    )
