"""What is taken in without a replay is what a replay gives."""

from __future__ import annotations

import pytest
from bench.records import entries
from bench.synthetic import make_system

from leadline.estimate.append import append
from leadline.estimate.keep import freeze, thaw
from leadline.estimate.outlook import estimate
from leadline.estimate.reckon import moment_of, reckon
from leadline.system.description import parse

pytestmark = pytest.mark.law


@pytest.mark.parametrize("seed", range(6))  # one system of each style
def test_an_entry_appended_is_an_entry_replayed(seed):
    made = make_system(seed, days=200)
    system, all_entries = parse(made.system_toml), entries(made.journal)
    taken = 0
    for e in [
        *[x for x in all_entries if x.kind == "reading"][-5:],
        *[x for x in all_entries if x.kind != "reading"][-9::2],
    ]:
        k = all_entries.index(e)
        before = [x for i, x in enumerate(all_entries) if (x.time, i) < (e.time, k)]
        old = reckon(system, before, e.time)
        longer = append(thaw(freeze(old), system, old.now), e)
        if longer is None:
            continue
        taken += 1
        one, whole = estimate(longer), estimate(reckon(system, [*before, e], e.time))
        for q, a in one.quantities.items():
            b = whole.quantities[q]
            assert a.mean == pytest.approx(b.mean, abs=1e-9 * max(b.sd, 1.0)), (e.kind, e.subject, q)
            assert a.sd == pytest.approx(b.sd, rel=1e-8), (e.kind, e.subject, q)
    assert taken >= 2


def test_what_was_kept_aside_is_refused_when_it_is_of_later_or_damaged():
    made = make_system(1, days=60)
    system = parse(made.system_toml)
    r = reckon(system, entries(made.journal), moment_of(made.end / 86400.0))
    content = freeze(r)
    assert thaw(content, system, r.now - 1.0) is None
    for bad in (b"", content[:20], content[: len(content) // 2], b"\x00" * 64):
        assert thaw(bad, system, r.now) is None
    again = thaw(content, system, r.now)
    assert again is not None
    for q, a in estimate(again).quantities.items():
        assert a.mean == pytest.approx(estimate(r).quantities[q].mean, rel=1e-12)
