"""What is believed, where the clock and the journal disagree."""

import datetime as dt

from leadline.app import choose, describe, enquire, record
from leadline.measures.moments import FixedClock
from leadline.store.sqlite import SqliteStore

NOW = dt.datetime(2026, 3, 1, 8, 0, tzinfo=dt.UTC)
TOML = '[system]\nid = "reef"\nname = "Reef (invented)"\nnet_volume = "400 L"\n'


def test_a_clock_that_was_set_back_still_gives_an_answer(tmp_path):
    with SqliteStore.open(tmp_path / "x.db", clock=FixedClock(NOW)) as store:
        describe.add(store, FixedClock(NOW), TOML)
        record.log(
            store, FixedClock(NOW), system="reef", kind="reading", subject="alkalinity", value_text="8", unit="dKH"
        )
        early = FixedClock(NOW - dt.timedelta(days=2))
        assert enquire.estimate(store, early, "reef").quantities["alkalinity"].last_reading is None
        assert choose.round_for(store, early, "reef").system == "reef"
        assert enquire.estimate(store, FixedClock(NOW), "reef").quantities["alkalinity"].last_reading is not None
