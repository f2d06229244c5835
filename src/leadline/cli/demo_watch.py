"""The demo's night: a chiller that warms, an invented household that is called, and mailboxes to answer from."""

from __future__ import annotations

import datetime as dt
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from leadline.couriers.mailbox import Mailbox
from leadline.measures.errors import BadInput

if TYPE_CHECKING:
    from email.message import EmailMessage

    from leadline.measures.moments import Clock
    from leadline.watch.loop import Loop

SYSTEM = "great-reef"
AGO, AHEAD_H = dt.timedelta(minutes=55), 12.0
WARM_C = 25.3  # from here on the heaters rest and the chiller works
MILD_C = 26.0  # of the room on a cool evening: the water keeps above where the heaters begin
_SCENARIO = """
[[change]]
at = "{fault:.0f} min"
equipment = "chiller-1"
state = "warms"
[usual]
exchanges = false
[start]
temperature = "{temperature:.2f} degC"
ph = "{ph:.2f}"
[parameter]
CHILLER_SPAN = 0.4
"""
_WARM = """ROOM_C = 27.0
CHILLER_SET = {cold:.2f}
"""
# after a cool evening the chiller rests until the fault, and the heaters do: what bends the water's way is the chiller
_COOL = """
[[change]]
at = "0 min"
equipment = "chiller-1"
state = "off"
"""
_ORDERS = """# The demo's standing orders; everything in them is invented.
[watch]
time_zone = "Europe/Oslo"
address = "{address}"

[[path]]
id = "mail"
kind = "mail"
to = "keeper@demo.invalid"
from = "watch@demo.invalid"
server = "127.0.0.1:{keeper}"
tls = "none"
shares = ["keeper's mail"]

[[path]]
id = "bell"
kind = "command"
command = [{python}, "-c", {ring}]

[[path]]
id = "neighbour-mail"
kind = "mail"
to = "neighbour@demo.invalid"
from = "watch@demo.invalid"
server = "127.0.0.1:{neighbour}"
tls = "none"
shares = ["neighbour's mail"]

[[person]]
id = "keeper"
name = "Keeper"
paths = ["mail", "bell"]

[[person]]
id = "neighbour"
name = "Neighbour"
paths = ["neighbour-mail"]

[escalation]                             # short waits: whoever tries it wants to see the next one called
next_path = "20 s"
next_person = "5 min"
repeat = "15 min"

[proof]
at = "18:00"
window = "30 min"
hand_over = "15 s"

[[feed]]
id = "plant"
kind = "file"
path = {plant}
"""


def before_tonight(warm_c: float) -> dt.timedelta:
    """How much of the records is left for the watch to take in, by how warm the water was an hour ago."""
    return dt.timedelta(hours=1 if warm_c >= WARM_C else 3)


class Night:
    """What plays beside the demo's pages: the household's mailboxes and bell, and the plant's file that grows."""

    def __init__(self, folder: Path, path: str, clock: Clock) -> None:
        self.folder, self.path, self.clock = folder.absolute(), path, clock
        self.boxes = {"keeper": Mailbox(self.folder / "mail" / "keeper"),
                      "neighbour": Mailbox(self.folder / "mail" / "neighbour")}  # fmt: skip
        self.bell = self.folder / "bell.log"
        self.plant = self.folder / "plant.csv"
        self._stop = threading.Event()
        self._threads: list[threading.Thread] = []
        self._told = 0

    # -- what the mailbox's page asks ----------------------------------------------------------------

    def mails(self, who: str) -> list[EmailMessage]:
        """A person's mails, the newest first."""
        return list(reversed(self.boxes[who].messages()))

    def rung(self) -> list[str]:
        """What the bell was rung for, the newest first."""
        lines = self.bell.read_text(encoding="utf-8").splitlines() if self.bell.exists() else []
        return list(reversed(lines))

    @property
    def mail_runs(self) -> bool:
        """Whether the keeper's mail server runs."""
        return self._runs

    def switch_mail(self, on: bool) -> None:
        """Start or stop the keeper's mail server."""
        (self.boxes["keeper"].start if on else self.boxes["keeper"].stop)()
        self._runs = on
        click.echo(f"{self._clock()}  The keeper's mail server {'runs again' if on else 'is stopped'}.")

    _runs = False

    # -- the night -----------------------------------------------------------------------------------

    def prepare(self) -> None:
        """Clear away an earlier night, start the mailboxes, and reckon what the plant will do."""
        import shutil

        shutil.rmtree(self.folder / "mail", ignore_errors=True)
        for old in (self.bell, self.plant):
            old.unlink(missing_ok=True)
        self.boxes = {name: Mailbox(box.folder) for name, box in self.boxes.items()}
        for box in self.boxes.values():
            box.start()
        self._runs = True
        self.rows = self._reckon()
        self._write(0.0)

    def _reckon(self) -> list[tuple[float, str]]:
        from leadline.app import make_up
        from leadline.wiring import compiled_folder, open_store

        now = self.clock.now()
        with open_store(self.path) as store:
            warm = store.latest_point(SYSTEM, "temperature")
            acid = store.latest_point(SYSTEM, "ph")
            if warm is None or acid is None:
                raise BadInput("the demo's streams are missing", way_out="Remove its folder and start it again.")
            begin = dt.datetime.fromtimestamp(warm[0] + 60.0, dt.UTC)  # where the imported records end
            fault = max((now - AGO - begin).total_seconds() / 60.0, 0.0)
            start = max(warm[1], WARM_C)
            text = _SCENARIO.format(temperature=start, ph=acid[1], fault=fault)
            if now - begin > dt.timedelta(hours=2):  # a cool evening, or a demo that was made earlier today
                text = f"{_COOL}{text}ROOM_C = {MILD_C}\nCHILLER_W = 1500.0\nCHILLER_SET = {start - 1.0:.2f}\n"
            else:
                text += _WARM.format(cold=start - 0.25)
            hours = AHEAD_H + (now - begin).total_seconds() / 3600.0
            return make_up.tonight(store, self.clock, SYSTEM, begin, hours, text, compiled_folder())

    def begin(self, live: Loop, address: str) -> None:
        """Give the orders, and let the night run beside the pages."""
        from leadline.app import stand_orders
        from leadline.wiring import open_store

        ring = f"import os,sys; open({str(self.bell)!r},'a').write(os.environ['LEADLINE_SUBJECT']+chr(10))"
        text = _ORDERS.format(
            address=address, keeper=self.boxes["keeper"].port, neighbour=self.boxes["neighbour"].port,
            python=_toml(sys.executable), ring=_toml(ring), plant=_toml(str(self.plant)),
        )  # fmt: skip
        with open_store(self.path) as store:
            stand_orders.give(store, text)
        click.echo("Tonight (invented): the great reef's chiller warms instead of cooling. Its keeper is you.")
        click.echo(f"The alarm comes to the demo's own mailbox: {address}/mailbox")
        for work in (self._grow, self._say, self._neighbour):
            thread = threading.Thread(target=work, daemon=True)
            thread.start()
            self._threads.append(thread)

    def end(self) -> None:
        """Stop what plays."""
        self._stop.set()
        for thread in self._threads:
            thread.join(5.0)
        for box in self.boxes.values():
            box.stop()

    def _every(self, seconds: float, do: Callable[[], None]) -> None:
        while not self._stop.is_set():
            do()
            self._stop.wait(seconds)

    def _grow(self) -> None:
        self._every(2.0, lambda: self._write(time.monotonic()))

    def _write(self, _: float) -> None:
        """Rows whose time has come go into the plant's file."""
        now = self.clock.now().timestamp()
        due = [row for at, row in self.rows if at <= now]
        self.rows = [x for x in self.rows if x[0] > now]
        fresh = not self.plant.exists()
        with open(self.plant, "a", encoding="utf-8") as out:
            if fresh:
                out.write("time,system,stream,value,unit\n")
            out.writelines(f"{row}\n" for row in due)

    def _say(self) -> None:
        seen = dict.fromkeys((*self.boxes, "bell"), 0)

        def look() -> None:
            for name, box in self.boxes.items():
                mails = box.messages()
                for mail in mails[seen[name] :]:
                    click.echo(f"{self._clock()}  mail to the {name}: {mail['subject']}")
                seen[name] = len(mails)
            rung = self.rung()
            for words in reversed(rung[: len(rung) - seen["bell"]]):
                click.echo(f"{self._clock()}  the bell: {words}")
            seen["bell"] = len(rung)

        self._every(0.5, look)

    def _neighbour(self) -> None:
        """The invented neighbour answers proofs as they come, as a neighbour would: by the link."""
        import contextlib
        import re
        import urllib.error
        import urllib.request

        answered: set[str] = set()

        def look() -> None:
            for mail in self.boxes["neighbour"].messages():
                link = re.search(r"https?://\S+/seen/\S+", mail.get_content())
                if link is None or link[0] in answered or not str(mail["subject"]).startswith("proof"):
                    continue
                with contextlib.suppress(urllib.error.URLError, TimeoutError):
                    urllib.request.urlopen(urllib.request.Request(link[0], method="POST"), timeout=5).close()
                    answered.add(link[0])

        self._every(1.0, look)

    def _clock(self) -> str:
        return f"{self.clock.now().astimezone():%H:%M:%S}"


def _toml(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
