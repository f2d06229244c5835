"""QARTOD flags on whole open records, against the counts that ioos_qc 3.0.0 gave when it was run on them.

The records and their counts lie beside the project (`shared/data`: SWMP sondes, CC0; USGS salinity, public domain).
"""

from __future__ import annotations

import csv
import gzip
import json
from pathlib import Path

import numpy as np
import pytest

from leadline.detect import trust

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
SONDES, RIVER = DATA / "swmp-apalachicola", DATA / "usgs-fouled-salinity" / "sandi_salinity_2001.csv.gz"
pytestmark = pytest.mark.published


def rows(path):
    with gzip.open(path, "rt", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def seconds(stamps):
    return np.array([s.rstrip("Z") for s in stamps], dtype="datetime64[s]").astype(float)


def counts(flags):
    return [int((flags == f).sum()) for f in (1, 2, 3, 4, 9)]


@pytest.mark.skipif(not SONDES.is_dir(), reason="the sondes' record is not beside the project")
@pytest.mark.parametrize("station", ["apacp", "apadb"])
def test_two_years_of_a_sonde(station):
    table = rows(SONDES / f"{station}_2012_2013.csv.gz")
    t = seconds([r["time_utc"] for r in table])
    settings = json.loads((SONDES / "qartod_config.json").read_text(encoding="utf-8"))["parameters"]
    with (SONDES / "expected_qartod_counts.csv").open(encoding="utf-8") as file:
        expected = {
            (r["parameter"], r["test"]): [int(v) for v in list(r.values())[3:]]
            for r in csv.DictReader(file)
            if r["station"] == station
        }
    assert len(expected) == 16
    for name, s in settings.items():
        x = np.array([float(r[name] or "nan") for r in table])
        gross, spike, flat = s["gross"], s["spike"], s["flat"]
        got = trust.gross_range(x, gross["fail_span"], gross["suspect_span"])
        assert counts(got) == expected[name, "gross_range"]
        assert counts(trust.rate_of_change(x, t, s["roc"])) == expected[name, "rate_of_change"]
        got = trust.spike_by_average(x, spike["suspect_threshold"], spike["fail_threshold"])
        assert counts(got) == expected[name, "spike"]
        got = counts(trust.flat_line(x, t, flat["suspect_threshold"], flat["fail_threshold"], flat["tolerance"]))
        # its README: within 3 %; a gap is a span of time here and a number of points there, so stretches differ by some
        flagged, wanted = got[2] + got[3], sum(expected[name, "flat_line"][2:4])
        assert flagged == pytest.approx(wanted, rel=0.03, abs=10), name


@pytest.mark.skipif(not RIVER.is_file(), reason="the river's record is not beside the project")
@pytest.mark.parametrize(
    ("test", "suspect", "fail", "expected", "first_fail"),
    [
        pytest.param(trust.attenuated_range, 17.25, 15.0, [23372, 743, 39, 282, 0], 24154, id="range"),
        pytest.param(trust.attenuated_sd, 5.0, 4.5, [23290, 743, 49, 354, 0], 24082, id="standard deviation"),
    ],
)
def test_a_cell_that_fouls(test, suspect, fail, expected, first_fail):
    table = rows(RIVER)
    t = seconds([r["time_pst"] for r in table])
    x = np.array([float(r["salinity_psu"]) for r in table])
    window = 24.8 * 3600.0
    flags = test(x, t, suspect, fail, window, 744)  # nothing evaluated before 12.4 h of minutes
    for got, wanted in zip(counts(flags), expected, strict=True):
        assert got == pytest.approx(wanted, rel=0.01, abs=1)  # its README: within 1 %
    assert int(np.argmax(flags == trust.FAIL)) == pytest.approx(first_fail, abs=30)
