"""Requests made up from the API's own document, by Schemathesis 4, against the demo with its watch.

Its checks: no server error; status, media type, headers and body as documented; what violates the document is
refused, what fits it is not called malformed; methods, headers and resources behave. Phases: examples, every
boundary, made up at random, and chains along Location and links.
"""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from tests.docs import prose
from tests.web import programs

from leadline.web import api

pytestmark = pytest.mark.door

# 422: fits the document, and still means nothing here (an unknown system, a time to come); 503: no watch, a full queue
SETTINGS = """
[checks.positive_data_acceptance]
expected-statuses = ["2xx", "401", "403", "404", "409", "422", "429", "503"]
[checks.not_a_server_error]
expected-statuses = ["2xx", "4xx", "503"]
"""


def test_requests_made_up_from_the_document_are_answered_as_it_says(demo_db, tmp_path):
    settings = tmp_path / "schemathesis.toml"
    settings.write_text(SETTINGS)
    env = {
        **os.environ, "PYTHONPATH": f"{prose.ROOT / 'src'}{os.pathsep}{prose.ROOT}", "NO_COLOR": "1",
        "SCHEMATHESIS_HOOKS": "tests.web.api_bodies",
    }  # fmt: skip
    with programs.living(demo_db, tmp_path) as door:
        door.heat()
        done = subprocess.run(
            [
                sys.executable, "-m", "schemathesis.cli", "--config-file", str(settings), "run",
                f"{door.address}/api/openapi.json", "--checks", "all", "--max-examples", "15", "--seed", "1",
                "--generation-database", "none", "--header", f"Authorization: Bearer {door.token}",
            ],
            cwd=tmp_path, env=env, capture_output=True, text=True, timeout=300, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout[-12_000:] + done.stderr[-4_000:]
        count = len(api.OPERATIONS) - 1  # it leaves out the address of the document itself
        assert f"Selected: {count}/{count}" in done.stdout
        assert door.client.get("/api/systems").status_code == 200  # and it still stands
