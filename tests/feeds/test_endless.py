"""What is sent without end is read in one go: a pattern that takes n² steps would hold up watch and pages."""

from __future__ import annotations

import subprocess
import sys

import pytest

BLANKS = """
from leadline.measures.units import split_value_unit
run = " " * 500_000
assert split_value_unit(f"{run}8.1{run}dKH{run}") == (8.1, "dKH")
assert split_value_unit(f"8.1 mg{run}L")[1] == f"mg{run}L"
"""
DIGITS = """
from leadline.feeds import payload
for value in ("1" * 500_000 + "x", "." + "1" * 500_000 + "x", "1." + "1" * 500_000 + "x"):
    try:
        payload._from_text(value)
    except payload.Strange:
        continue
    raise AssertionError(value[:9])
"""
BRACKETS = """
from leadline.formats import headers
headers._parted("(" * 300_000)
"""


@pytest.mark.law
@pytest.mark.parametrize("look", [BLANKS, DIGITS, BRACKETS], ids=["blanks", "digits", "brackets"])
def test_no_run_of_signs_is_a_burden(look):
    # with n² steps each of these takes a quarter of an hour and more
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr
