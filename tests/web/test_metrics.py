"""The figures for Prometheus: read back with the client library's own parser, held against what the app says.

Sources: the text format and the naming rules of prometheus.io as `promtool check metrics` applies them (base units as
suffix, `_total` on counters and on nothing else, no unit in abbreviated form, HELP and TYPE for each); OpenMetrics 1.0.
"""

from __future__ import annotations

import re

import pytest
from prometheus_client.openmetrics import parser as openmetrics
from prometheus_client.parser import text_string_to_metric_families
from tests.web import house, programs
from tests.web.test_api import prompt

from leadline import __version__
from leadline.wiring import open_store

pytestmark = pytest.mark.door
ABBREVIATED = re.compile(r"_(s|ms|us|ns|sec|secs|b|kb|mb|pct|percent|perc|hours|hrs|h|min|mins|minutes|days|d|kg|g)$")


@pytest.fixture(scope="module")
def still(demo_db, tmp_path_factory):
    with programs.still(demo_db, tmp_path_factory.mktemp("figures")) as door:
        yield door


def figures(door) -> dict[str, dict[tuple[tuple[str, str], ...], float]]:
    """Samples by name, then by labels."""
    found: dict = {}
    for family in text_string_to_metric_families(door.get("/metrics").text):
        for s in family.samples:
            assert tuple(sorted(s.labels.items())) not in found.setdefault(s.name, {})
            found[s.name][tuple(sorted(s.labels.items()))] = s.value
    return found


def labelled(**labels: str) -> tuple[tuple[str, str], ...]:
    return tuple(sorted(labels.items()))


def test_estimates_are_those_that_the_prompt_prints(still):
    said = figures(still)
    for system in ("great-reef", "lagoon", "quarantine"):
        [printed] = prompt(still.db, "estimate", system)
        mine = {k: v for k, v in said["leadline_estimate_mean"].items() if ("system", system) in k}
        assert len(mine) == len(printed["quantities"])
        for name, q in printed["quantities"].items():
            where = labelled(system=system, quantity=name)
            assert said["leadline_estimate_mean"][labelled(system=system, quantity=name, unit=q["unit"])] == q["mean"]
            assert said["leadline_estimate_sd"][labelled(system=system, quantity=name, unit=q["unit"])] == q["sd"]
            assert said["leadline_estimate_outside_aim_ratio"].get(where) == q["p_outside_aim"]
            assert said["leadline_estimate_outside_limit_ratio"].get(where) == q["p_outside_limit"]
        assert said["leadline_estimate_up"][labelled(system=system)] == 1.0


def test_streams_journal_and_store_are_as_they_are(still):
    said = figures(still)
    with open_store(str(still.db)) as store:
        for system, stream in store.streams():
            last = store.latest_point(system, stream)
            age = said["leadline_stream_last_point_age_seconds"][labelled(system=system, stream=stream)]
            assert age == pytest.approx(house.NOW.timestamp() - last[0])
        for system in store.systems():
            assert said["leadline_journal_entries"][labelled(system=system)] == len(store.entries(system))
        assert said["leadline_held_points"][()] == store.held_count()
    assert said["leadline_store_size_bytes"][()] >= still.db.stat().st_size
    [build] = said["leadline_build_info"]
    assert ("version", __version__) in build
    assert said["leadline_watch_up"] == {(): 0.0}  # no watch runs beside it
    assert "leadline_watch_points_total" not in said


def test_requests_are_counted_by_route_and_never_by_address(still):
    figures(still)
    before = figures(still)["leadline_http_requests_total"]
    for k in range(5):
        still.get(f"/api/systems/made-up-{k}")
        still.get(f"/nowhere/{k}")
    still.client.request("BREW", "/api/systems")
    still.client.post("/api/journal", content=b"x" * 70_000, headers={"content-type": "application/json"})
    said = figures(still)
    after = said["leadline_http_requests_total"]

    def more(**labels: str) -> float:
        return after.get(labelled(**labels), 0.0) - before.get(labelled(**labels), 0.0)

    assert more(method="GET", route="/api/systems/{system}", status="404") == 5
    assert more(method="GET", route="other", status="404") == 5
    assert more(method="other", route="/api/systems", status="405") == 1
    assert more(method="POST", route="/api/journal", status="413") == 1
    assert more(method="GET", route="/metrics", status="200") == 1
    assert not [k for k in after if any("made-up" in v or "nowhere" in v for _, v in k)]
    spans = said["leadline_http_request_duration_seconds_count"]
    assert sum(spans.values()) == sum(after.values())
    bucket = labelled(method="GET", route="/api/systems/{system}", le="+Inf")
    assert said["leadline_http_request_duration_seconds_bucket"][bucket] >= 5


def families(text: str) -> dict[str, tuple[str, str]]:
    """Every family's type and help, by the lines of the text itself."""
    kinds = dict(re.findall(r"^# TYPE (\S+) (\S+)$", text, re.MULTILINE))
    helps = dict(re.findall(r"^# HELP (\S+) (.+)$", text, re.MULTILINE))
    assert set(kinds) == set(helps)
    return {name: (kinds[name], helps[name]) for name in kinds}


def test_names_types_and_helps_are_as_the_trade_wants_them(demo_db, tmp_path):
    with programs.living(demo_db, tmp_path) as door:
        text = door.get("/metrics").text
    found = families(text)
    assert len(found) == 19
    for name, (kind, words) in found.items():
        assert re.fullmatch(r"leadline_[a-z][a-z_]*", name)
        assert words.endswith(".")
        assert name.endswith("_total") == (kind == "counter"), name
        assert not ABBREVIATED.search(name.removesuffix("_total")), name
        assert f"_{kind}" not in name
    for line in text.splitlines():
        if line and not line.startswith("#"):
            sample = re.match(r"[a-z_]+", line)[0]
            base = re.sub(r"_(bucket|sum|count)$", "", sample)
            assert sample in found or (base in found and found[base][0] == "histogram"), line


def test_a_watch_its_alarms_and_its_proofs_are_figures_without_names(demo_db, tmp_path):
    with programs.living(demo_db, tmp_path) as door:
        door.heat()
        said = figures(door)
        text = door.get("/metrics").text
        health = door.get("/health").json()
        alarms = door.get("/api/alarms").json()["alarms"]
        assert said["leadline_watch_up"] == {(): 1.0}
        assert 0.0 <= said["leadline_watch_last_tick_age_seconds"][()] < 30.0
        assert said["leadline_watch_points_total"][()] == health["points"] == 60
        counted = said["leadline_alarms"]
        high = next(a for a in alarms if a["alarm"] == "temperature-high")
        assert counted[labelled(system="great-reef", state="unacknowledged", priority=high["priority"])] >= 1
        assert sum(counted.values()) == len(alarms)
        assert said["leadline_path_proved"] == {labelled(path="mail", place="1"): 0.0}
        assert said["leadline_path_proof_remaining_seconds"] == {labelled(path="mail", place="1"): 0.0}
        assert said["leadline_nobody_reached_ratio"][()] == pytest.approx(
            door.get("/api/paths").json()["p_nobody_tonight"], rel=1e-3
        )
        assert "keeper" not in text  # neither names of people nor secrets
        assert door.token not in text


def test_a_proof_counts_until_the_end_of_the_next_ones_window(demo_db, tmp_path):
    """Proofs are asked for daily at 18:00 in Oslo with a window of 1 h: from 08:00 UTC on 1 March that is ten hours."""
    from leadline.app import path_book, stand_orders

    with programs.still(demo_db, tmp_path) as door:
        now = house.NOW.timestamp()
        with open_store(str(door.db)) as store:
            stand_orders.give(store, ORDERS)
            noted = {"proved_s": now - 3600.0, "asked_s": None, "overdue": False, "answered": 1, "missed": 0,
                     "days": 1.0, "message": "", "last_s": now - 3700.0, "since_s": None}  # fmt: skip
            path_book.keep(store, "keeper", "bell", {**noted, "print": print_of(door)})
        said = figures(door)
    assert said["leadline_path_proved"] == {labelled(path="bell", place="1"): 1.0}
    assert said["leadline_path_proof_remaining_seconds"] == {labelled(path="bell", place="1"): 10 * 3600.0}


ORDERS = """
[watch]
time_zone = "Europe/Oslo"
[[path]]
id = "bell"
kind = "command"
command = ["true"]
[[person]]
id = "keeper"
paths = ["bell"]
[proof]
at = "18:00"
window = "1 h"
"""


def print_of(door) -> str:
    """The fingerprint of the bell as it is set up."""
    from leadline.wiring import make_signals

    with open_store(str(door.db)) as store:
        return make_signals(store, str(door.db)).prints["bell"]


@pytest.mark.parametrize(
    ("accept", "media"),
    [
        ("", "text/plain; version=0.0.4; charset=utf-8"),
        ("text/plain;version=abc", "text/plain; version=0.0.4; charset=utf-8"),
        ("application/openmetrics-text;version=1.0.0,text/plain;q=0.5",
         "application/openmetrics-text; version=1.0.0; charset=utf-8"),
    ],
)  # fmt: skip
def test_the_format_is_what_was_accepted(still, accept, media):
    said = still.client.get("/metrics", headers={"accept": accept})
    assert said.headers["content-type"].startswith(media)
    if "openmetrics" in media:
        names = {f.name for f in openmetrics.text_string_to_metric_families(said.text)}
        assert "leadline_http_requests" in names
        assert said.text.endswith("# EOF\n")


def test_asking_again_within_the_minute_reckons_nothing_anew(still, monkeypatch):
    from leadline.estimate import outlook

    figures(still)
    asked = []
    real = outlook.estimate
    monkeypatch.setattr(outlook, "estimate", lambda *a, **k: asked.append(1) or real(*a, **k))
    figures(still)
    assert asked == []
    still.send("POST", "/api/journal", {"system": "lagoon", "kind": "reading", "subject": "nitrate", "value": 4.0,
                                        "unit": "mg/L"})  # fmt: skip
    figures(still)
    assert len(asked) in (1, 2)  # the lagoon alone: when it was logged, and for the page
