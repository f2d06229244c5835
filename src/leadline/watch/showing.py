"""Points that came in are shown to a system's lookouts: new ones only, and a backlog as it would have come."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from leadline.app.keep_watch import STEP_S
from leadline.detect.findings import Finding

if TYPE_CHECKING:
    import numpy as np

    from leadline.detect.observe import Observer

_NOT_EVALUATED, _PASS, _FAIL = 2, 1, 4
PAST_S = 3600.0


@dataclass
class Shown:
    """What points showed: findings, QARTOD flags by stream, and how many points were late.

    `history` says that some of it is long past: what of that still stands is found among the conditions that stand.
    """

    findings: list[Finding] = field(default_factory=list)
    flags: dict[str, np.ndarray] = field(default_factory=dict)
    late: int = 0
    history: bool = False


def together(parts: Iterable[tuple[np.ndarray, np.ndarray]]) -> tuple[np.ndarray, np.ndarray]:
    """Points of several batches of one stream in order of time; of equal moments the last that came."""
    import numpy as np

    times, values = zip(*parts, strict=True)
    if len(times) == 1:
        return times[0], values[0]
    t, v = np.concatenate(times), np.concatenate(values)
    order = np.argsort(t, kind="stable")
    t, v = t[order], v[order]
    last = np.append(np.diff(t) > 0.0, True)
    return t[last], v[last]


def show(observer: Observer, points: Mapping[str, tuple[np.ndarray, np.ndarray]], now_s: float) -> Shown:
    """Show a system's new points to its lookouts.

    What spans more than ten minutes (a device that was away, a watch that was down) is shown window by window with
    the passing of time in between, as a recording is: it must show the same as if it had come in time.

    Parameters
    ----------
    points
        Stream to times [Unix s], ascending, and values in the stored unit.
    """
    import numpy as np

    from leadline.detect.observe import merged

    out = Shown()
    new: dict[str, tuple[np.ndarray, np.ndarray]] = {}
    places: dict[str, np.ndarray] = {}
    for stream, (t, v) in points.items():
        out.flags[stream] = np.full(len(t), _NOT_EVALUATED, dtype=np.int64)
        track = observer.hand.tracks.get(stream)
        fresh = np.ones(len(t), dtype=bool) if track is None or track.last_s is None else t > track.last_s
        out.late += int(len(t) - fresh.sum())
        if fresh.any():
            new[stream], places[stream] = (t[fresh], v[fresh]), np.flatnonzero(fresh)
    if not new:
        return out
    first, last = min(float(t[0]) for t, _ in new.values()), max(float(t[-1]) for t, _ in new.values())
    if last - first <= STEP_S:
        windows: Iterable[tuple[float, dict[str, slice]]] = [
            (np.inf, {s: slice(0, len(t)) for s, (t, _) in new.items()})
        ]
    else:
        windows = merged(new, STEP_S, observer.patience_s)
    for end, slices in windows:
        for stream, inside in slices.items():
            t, v = new[stream]
            _add(out, observer.take(stream, t[inside], v[inside]), now_s)
            track = observer.hand.tracks[stream]
            if track.quantity and not track.room:
                trusted = track.values[-len(t[inside]) :]
                out.flags[stream][places[stream][inside]] = np.where(np.isnan(trusted), _FAIL, _PASS)
        if end <= now_s:
            _add(out, observer.tick(end), now_s)
    return out


def _add(out: Shown, found: Iterable[Finding], now_s: float) -> None:
    """A sender's clock may be a little ahead: what its points show is known now, not then. Nobody is called about what
    came and went long ago."""
    for f in found:
        if f.at_s < now_s - PAST_S:
            out.history = True
        else:
            out.findings.append(f if f.at_s <= now_s else replace(f, at_s=now_s))
