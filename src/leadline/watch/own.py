"""What the watch notices of itself: the disk, the clock, the feeds, those it guards, its own pace."""

from __future__ import annotations

import os
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from leadline.alarms.message import span
from leadline.detect.findings import Finding
from leadline.watch.queue import FeedState

LOW_BYTES, LOW_SHARE = 500_000_000, 0.01
JUMP_S, JUMP_STANDS_S = 60.0, 3600.0
FEED_PATIENCE_S = 120.0
MISTAKE_STANDS_S = 3600.0
RESERVE_BYTES, RESERVE_MORE_BYTES = 4_000_000, 1_000_000


@dataclass
class Reserve:
    """Room kept on the disk for alarms: given up when the disk is full, taken again when there is room."""

    store_path: Path
    size: int = RESERVE_BYTES

    @property
    def path(self) -> Path:
        """The file that holds the room."""
        return self.store_path.with_name(self.store_path.name + ".reserve")

    def take(self) -> bool:
        """Hold the room; False when there is none."""
        try:
            if self.path.exists() and self.path.stat().st_size >= self.size:
                return True
            if shutil.disk_usage(self.path.parent).free < self.size + RESERVE_MORE_BYTES:
                return False  # what was given up a moment ago is no room that came free
            with open(self.path, "wb") as out:
                for _ in range(self.size // 65536):
                    out.write(b"\1" * 65536)
                out.write(b"\1" * (self.size % 65536))
                out.flush()
                os.fsync(out.fileno())
            return True
        except OSError:
            self.path.unlink(missing_ok=True)
            return False

    def give_up(self) -> bool:
        """Let the room go, for alarms; False when it was gone already."""
        try:
            self.path.unlink()
        except OSError:
            return False
        return True


@dataclass
class Own:
    """The watch's findings about itself, begun and ended like any."""

    store_path: Path
    low_bytes: int = LOW_BYTES
    trouble: str = ""  # why nothing can be written, while that lasts
    trouble_since: float = 0.0
    lag_s: float = 0.0
    mistakes: dict[str, tuple[str, float]] = field(default_factory=dict)  # where: what, when by the monotonic clock
    _wall: float | None = None
    _mono: float = 0.0
    _jumped: tuple[float, float] | None = field(default=None)  # by how much, and when by the monotonic clock

    def jumped(self, wall_s: float, mono_s: float) -> float:
        """By how much the clock was set since the last look, when that is more than a minute; else 0. [s]"""
        off = 0.0
        if self._wall is not None:
            off = (wall_s - self._wall) - (mono_s - self._mono)
            if abs(off) > JUMP_S:
                self._jumped = (off, mono_s)
            else:
                off = 0.0
        self._wall, self._mono = wall_s, mono_s
        return off

    def findings(
        self, now_s: float, mono_s: float, feeds: Mapping[str, FeedState], guarded: Mapping[str, tuple[int, str]],
        missed: int, ahead: Mapping[tuple[str, str], float],
    ) -> list[Finding]:  # fmt: skip
        """Everything there is to say of the watch itself; a finding that holds is said each time."""
        return [
            *self._disk(now_s), *self._mistakes(now_s, mono_s), *self._clock(now_s, mono_s),
            *self._feeds(now_s, mono_s, feeds), *self._guarded(now_s, guarded, missed), *self._senders(now_s, ahead),
        ]  # fmt: skip

    def _disk(self, now_s: float) -> list[Finding]:
        try:
            disk = shutil.disk_usage(self.store_path.parent)
        except OSError as exc:
            return [
                _holds("watch-disk-full", "disk", now_s, None, 3600.0, f"The disk does not answer: {exc.strerror}.")
            ]
        low = min(self.low_bytes, LOW_SHARE * disk.total)
        found = [_over("watch-disk-full", "disk", now_s, "The disk takes what is written again.")]
        if self.trouble:
            words = f"Nothing can be written: {self.trouble.rstrip('.')}. Points wait with their senders."
            found = [_holds("watch-disk-full", "disk", now_s, float(disk.free), 3600.0, words)]
        if disk.free < low:
            words = f"The disk has {disk.free / 1e6:.0f} MB left; when it is full no point is kept."
            found.append(_holds("watch-disk-low", "disk", now_s, float(disk.free), 12 * 3600.0, words))
        elif disk.free > 1.2 * low:
            found.append(_over("watch-disk-low", "disk", now_s, "There is room on the disk again."))
        return found

    def _mistakes(self, now_s: float, mono_s: float) -> list[Finding]:
        """Mistakes in the watch itself stand for an hour: a guard that asks once a minute must see them."""
        self.mistakes = {k: v for k, v in self.mistakes.items() if mono_s - v[1] < MISTAKE_STANDS_S}
        if not self.mistakes:
            return [_over("watch-mistake", "watch", now_s, "The watch has run without a mistake for an hour.")]
        words = "; ".join(f"{where}: {said}" for where, (said, _) in self.mistakes.items())
        return [_holds("watch-mistake", "watch", now_s, None, 5 * 3600.0, f"A mistake in the watch, {words}.")]

    def _clock(self, now_s: float, mono_s: float) -> list[Finding]:
        if self._jumped is None:
            return []
        by, at = self._jumped
        if mono_s - at > JUMP_STANDS_S:
            self._jumped = None
            return [_over("watch-clock", "clock", now_s, "The clock has run evenly for an hour.")]
        words = f"The clock of this machine was set {'forward' if by > 0 else 'back'} by {span(abs(by))}."
        return [_holds("watch-clock", "clock", now_s, by, None, words)]

    def _feeds(self, now_s: float, mono_s: float, feeds: Mapping[str, FeedState]) -> list[Finding]:
        found = []
        for name, state in feeds.items():
            alarm = feed_name(name)
            if state.ok:
                found.append(_over(alarm, name, now_s, f"The feed {name} works again."))
            elif mono_s - state.since_s > FEED_PATIENCE_S:
                words = f"The feed {name} has been down for {span(mono_s - state.since_s)}: {state.words.rstrip('.')}."
                found.append(_holds(alarm, name, now_s, None, None, words))
        return found

    def _guarded(self, now_s: float, guarded: Mapping[str, tuple[int, str]], missed: int) -> list[Finding]:
        found = []
        for address, (misses, words) in guarded.items():
            name = guard_name(address)
            if misses >= missed:
                said = f"The watch at {address} gave no sign of life {misses} times: {words.rstrip('.')}."
                found.append(_holds(name, _short(address), now_s, float(misses), 3 * 3600.0, said))
            elif misses == 0:
                found.append(_over(name, _short(address), now_s, f"The watch at {address} lives."))
        return found

    def _senders(self, now_s: float, ahead: Mapping[tuple[str, str], float]) -> list[Finding]:
        if not ahead:
            return [_over("watch-senders-clock", "clock", now_s, "Senders' clocks are right again.")]
        (system, stream), off = max(ahead.items(), key=lambda x: abs(x[1]))
        words = (
            f"The clock of {system}/{stream} is {span(abs(off))} {'ahead' if off > 0 else 'behind'}, of "
            f"{len(ahead)} in all: such points are held, not used."
        )
        return [_holds("watch-senders-clock", "clock", now_s, off, None, words)]


def guard_name(address: str) -> str:
    """The alarm that speaks of a watch that is guarded."""
    return f"guard-{_short(address)}"


def feed_name(feed: str) -> str:
    """The alarm that speaks of a feed."""
    return f"feed-{feed}-down"


def _short(address: str) -> str:
    bare = address.split("://")[-1].strip("/").lower()
    return "".join(c if c.isalnum() else "-" for c in bare)[:60]


def _holds(name: str, subject: str, at_s: float, value: float | None, harm_s: float | None, because: str) -> Finding:
    return Finding(name, subject, at_s, True, value, harm_s, because)


def _over(name: str, subject: str, at_s: float, because: str) -> Finding:
    return Finding(name, subject, at_s, False, None, None, because)
