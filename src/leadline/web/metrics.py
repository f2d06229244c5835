"""Figures of the house for Prometheus: watch, streams, alarms, proofs, estimates, what is asked of this site."""

from __future__ import annotations

import platform
import time
from collections import Counter as Counts
from collections.abc import Iterable, Iterator
from typing import Any

from prometheus_client import CollectorRegistry, Counter, Histogram
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, InfoMetricFamily
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4, choose_encoder, generate_latest
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from leadline import __version__
from leadline.alarms.alarm import SPOKEN
from leadline.app import oversee, read_journal
from leadline.measures.errors import LeadlineError, Unreachable

_DAYS = 180  # the estimate that the pages keep: reckoned at most once a minute, however often this is asked
_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "DELETE", "PATCH", "OPTIONS"})
_BUCKETS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)
_OTHER = "other"


class Figures:
    """The figures of one site: its own registry, the requests that were counted, and the house behind them."""

    def __init__(self, state: Any) -> None:
        self.registry = CollectorRegistry()
        self.requests = Counter(
            "leadline_http_requests", "Requests answered, by route and status.", ("method", "route", "status"),
            registry=self.registry,
        )  # fmt: skip
        self.spans = Histogram(
            "leadline_http_request_duration_seconds", "Time from a request to the end of its answer.",
            ("method", "route"), registry=self.registry, buckets=_BUCKETS,
        )  # fmt: skip
        self.registry.register(_House(state))

    def count(self, method: str, route: str, status: int, seconds: float) -> None:
        """One request was answered."""
        method = method if method in _METHODS else _OTHER
        self.requests.labels(method, route, str(status)).inc()
        self.spans.labels(method, route).observe(seconds)


class Counted:
    """Counts every answer by the template of its route, never by its address: the number of series stays small."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        status, began = 500, time.perf_counter()

        async def send_seen(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        try:
            await self.app(scope, receive, send_seen)
        finally:
            route = getattr(scope.get("route"), "path", _OTHER)
            scope["app"].state.figures.count(scope["method"], route, status, time.perf_counter() - began)


async def metrics(request: Request) -> Response:
    """`GET /metrics`: the text format of Prometheus, or OpenMetrics for whoever accepts it."""
    try:
        encode, media = choose_encoder(request.headers.get("accept", ""))
    except (ValueError, TypeError):  # a version that is no number
        encode, media = generate_latest, CONTENT_TYPE_PLAIN_0_0_4
    try:
        content = encode(_Plain(request.app.state.figures.registry))
    except Unreachable as exc:
        return Response(f"# {exc.line()}\n", 503, {"retry-after": "30"}, media_type="text/plain")
    return Response(content, headers={"content-type": media, "cache-control": "no-store"})


class _Plain(Collector):
    """The families of a registry without the moments at which each series began: they double the page for nobody."""

    def __init__(self, registry: CollectorRegistry) -> None:
        self.registry = registry

    def collect(self) -> Iterator[Metric]:
        """Each family, its samples thinned."""
        for family in self.registry.collect():
            family.samples = [s for s in family.samples if not s.name.endswith("_created")]
            yield family


class _House(Collector):
    """What the app knows, asked anew at each scrape."""

    def __init__(self, state: Any) -> None:
        self.state = state

    def describe(self) -> Iterable[Metric]:
        """Nothing: the store is not open yet when this is registered."""
        return ()

    def collect(self) -> Iterator[Metric]:
        """Every family, each with its help."""
        yield InfoMetricFamily(
            "leadline_build", "The running program.",
            {"version": __version__, "python": platform.python_version()},
        )  # fmt: skip
        yield from self._watch()
        yield from self._streams()
        yield self._alarms()
        yield from self._paths()
        yield from self._estimates()
        yield from self._store()

    def _watch(self) -> Iterator[Metric]:
        live = self.state.live
        found = live.health() if live is not None else None
        up = GaugeMetricFamily("leadline_watch_up", "1 while the watch lives in this process, else 0.")
        up.add_metric((), float(bool(found and found["ok"])))
        yield up
        age = GaugeMetricFamily("leadline_watch_last_tick_age_seconds", "Time since the watch last ticked.")
        points = CounterMetricFamily("leadline_watch_points", "Points that the watch took in since it started.")
        if found is not None:
            age.add_metric((), found["seconds_since_beat"])
            points.add_metric((), found["points"])
        yield age
        yield points

    def _streams(self) -> Iterator[Metric]:
        now_s = self.state.clock.now().timestamp()
        age = GaugeMetricFamily(
            "leadline_stream_last_point_age_seconds", "Time since a stream's last point.", labels=("system", "stream")
        )
        for s in oversee.streams(self.state.store):
            if s.last_s is not None:
                age.add_metric((s.system, s.stream), now_s - s.last_s)
        yield age

    def _alarms(self) -> Metric:
        found = GaugeMetricFamily(
            "leadline_alarms", "Alarms that are not normal, by state and priority (IEC 62682).",
            labels=("system", "state", "priority"),
        )  # fmt: skip
        standing = Counts(
            (r.system, str(SPOKEN.get(r.state, r.state)), str(r.priority)) for r in oversee.standing(self.state.store)
        )
        for labels, n in sorted(standing.items()):
            found.add_metric(labels, n)
        return found

    def _paths(self) -> Iterator[Metric]:
        now_s = self.state.clock.now().timestamp()
        signals = self.state.signals_of(self.state.store)
        labels = ("path", "place")
        proved = GaugeMetricFamily(
            "leadline_path_proved", "1 while a path to a person counts as proved; place is the person's in the orders.",
            labels=labels,
        )  # fmt: skip
        left = GaugeMetricFamily(
            "leadline_path_proof_remaining_seconds",
            "Time until a path's proof no longer counts if nobody answers another; 0 when it does not count now.",
            labels=labels,
        )  # fmt: skip
        nobody = GaugeMetricFamily("leadline_nobody_reached_ratio", "Chance that an alarm tonight reaches nobody.")
        places = {p.id: str(k) for k, p in enumerate(signals.orders.people, 1)}  # names of people are no labels
        for p in oversee.paths(signals, now_s):
            where = (p.path, places[p.person])
            proved.add_metric(where, float(p.known.counts))
            left.add_metric(where, 0.0 if p.ends_s is None else max(p.ends_s - now_s, 0.0))
        nobody.add_metric((), oversee.nobody_tonight(signals, now_s))
        yield from (proved, left, nobody)

    def _estimates(self) -> Iterator[Metric]:
        labels = ("system", "quantity")
        mean = GaugeMetricFamily(
            "leadline_estimate_mean", "What a quantity is believed to be, in its stored unit.", labels=(*labels, "unit")
        )
        sd = GaugeMetricFamily(
            "leadline_estimate_sd", "How far off that may be: one standard deviation.", labels=(*labels, "unit")
        )
        aim = GaugeMetricFamily(
            "leadline_estimate_outside_aim_ratio", "Chance that a quantity is outside its aim now.", labels=labels
        )
        limit = GaugeMetricFamily(
            "leadline_estimate_outside_limit_ratio", "Chance that a quantity is outside its limit now.", labels=labels
        )
        up = GaugeMetricFamily("leadline_estimate_up", "1 when a system could be reckoned.", labels=("system",))
        for system in self.state.store.systems():
            try:
                found = self.state.lookout.see(self.state.store, system, _DAYS, None).estimate
            except Unreachable:
                raise
            except LeadlineError:
                up.add_metric((system,), 0.0)
                continue
            up.add_metric((system,), 1.0)
            for q in found.quantities.values():
                mean.add_metric((system, q.quantity, q.unit), q.mean)
                sd.add_metric((system, q.quantity, q.unit), q.sd)
                if q.aim is not None:
                    aim.add_metric((system, q.quantity), q.p_outside_aim)
                if q.limit is not None:
                    limit.add_metric((system, q.quantity), q.p_outside_limit)
        yield from (up, mean, sd, aim, limit)

    def _store(self) -> Iterator[Metric]:
        entries = GaugeMetricFamily(
            "leadline_journal_entries", "Entries of the journal, corrections counted.", labels=("system",)
        )
        for system, n in sorted(read_journal.counts(self.state.store).items()):
            entries.add_metric((system,), n)
        yield entries
        held = GaugeMetricFamily("leadline_held_points", "What came in, was no point, and waits to be judged.")
        held.add_metric((), self.state.store.held_count())
        yield held
        size = GaugeMetricFamily("leadline_store_size_bytes", "What the store takes on disk.")
        size.add_metric((), self.state.store.size())
        yield size
