"""The demo's night, as it is promised: a chiller that heats is caught hours before harm, the alarm arrives in a real
mailbox, its answer closes it, and a dead mail server is noticed by the proof and told by another path."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import httpx
import pytest
from tests.watch.house import until

pytestmark = pytest.mark.door
ROOT = Path(__file__).parents[2]


@pytest.fixture
def demo(tmp_path):
    env = {k: v for k, v in os.environ.items() if not k.startswith("LEADLINE_N")} | {"PYTHONPATH": str(ROOT / "src")}
    words = [sys.executable, "-m", "leadline", "demo", "--folder", str(tmp_path / "demo"), "--port", "0"]
    with open(tmp_path / "said", "w") as out:
        process = subprocess.Popen(words, env=env, stdout=out, stderr=subprocess.STDOUT)
    try:
        said = tmp_path / "said"
        line = until(lambda: re.search(r"http://\S+", said.read_text()), 180)
        with httpx.Client(
            base_url=line[0].replace("localhost", "127.0.0.1"), follow_redirects=True, timeout=20
        ) as client:
            yield client, said, env, tmp_path / "demo" / "demo.db"
        process.send_signal(signal.SIGINT)
        process.wait(30)
        assert "Traceback" not in said.read_text()
    finally:
        process.kill()
        process.wait()


def test_the_night_goes_as_it_is_promised(demo):
    client, said, env, db = demo

    def standing():
        done = subprocess.run(
            [sys.executable, "-m", "leadline", "--db", str(db), "--json", "watch", "alarms", "great-reef"],
            env=env, capture_output=True, text=True, check=False,
        )  # fmt: skip
        return {a["alarm"]: a for a in map(json.loads, done.stdout.splitlines())}

    # caught hours before harm, and in the mailbox
    until(
        lambda: (
            "chiller 1 warms" in client.get("/mailbox").text.split('id="mails"')[1].split("The keeper's mail server")[0]
        ),
        60,
    )
    page = client.get("/mailbox").text
    alarm = standing()["chiller-1-warms"]
    began, harm = alarm["began"], alarm["harm_at"]
    assert alarm["state"] == "unacknowledged"
    hours = (_moment(harm) - _moment(began)) / 3600.0
    assert hours > 3.0
    mail = page.split('id="mails"')[1].split("chiller 1 warms")[1].split("</li>")[0]
    assert "First: Take chiller-1 off its supply" in mail
    # its link answers it
    link = re.search(r'href="(/seen/[^"]+)"', mail)[1]
    assert "has run for" in client.get(link).text
    posted = client.post(link)
    assert "is acknowledged" in posted.text
    assert standing()["chiller-1-warms"]["state"] == "acknowledged", (link, posted.text[-400:], _story(db))
    # the mail server dies: the proof notices it, the bell and the neighbour are told
    client.post("/mailbox", data={"on": "0"})
    client.post("/watch/prove", data={"path": "mail"})
    until(lambda: "the bell: high: the watch, mail to keeper is unproved" in said.read_text()
          or "the bell: medium: the watch, mail to keeper is unproved" in said.read_text(), 60)  # fmt: skip
    until(lambda: "mail to keeper is unproved" in client.get("/mailbox").text.split("To the neighbour")[1], 60)
    assert "unproved: its last proof was not answered" in client.get("/watch").text


def _moment(text: str) -> float:
    from leadline.measures.moments import parse

    return parse(text).timestamp()


def _story(db):
    from leadline.wiring import open_store

    with open_store(str(db)) as store:
        return [(e.at_s, e.name, e.event, e.before, e.after, e.words) for e in store.alarm_events(0.0, 4e9)] + [
            (m.opened_s, m.alarm, m.closed_how, m.closed_by) for m in store.recent_messages(0.0)
        ]
