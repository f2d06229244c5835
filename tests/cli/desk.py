"""What the root command hands to the file commands, over a real store in a temporary folder."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click
from click.testing import CliRunner, Result

from leadline.cli import files
from leadline.measures.moments import FixedClock
from leadline.store.sqlite import SqliteStore

NOW = dt.datetime(2026, 3, 1, 12, 0, tzinfo=dt.UTC)
ROOM = """
[system]
id = "{id}"
name = "Invented"
time_zone = "{zone}"
net_volume = "1150 L"
"""


class Desk:
    """Fulfils `leadline.cli.files.Tools`."""

    def __init__(self, folder: Path, json: bool = False) -> None:
        self.path = folder / "leadline.db"
        self.clock = FixedClock(NOW)
        self.json = json
        self._store = SqliteStore.open(self.path, clock=self.clock)
        for id, zone in (("north-room", "Europe/Oslo"), ("lagoon", "America/New_York")):
            self._store.save_system(id, ROOM.format(id=id, zone=zone), NOW)

    def store(self) -> SqliteStore:
        return self._store

    def reopen(self) -> None:
        self._store = SqliteStore.open(self.path, clock=self.clock)

    def run(self, command: click.Command, *arguments: object) -> Result:
        result = CliRunner().invoke(command, [str(a) for a in arguments], obj=self)
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            from leadline.measures.errors import LeadlineError

            if not isinstance(result.exception, LeadlineError):
                raise result.exception
            # the root command prints these; done here the same way so that the text can be checked
            result.stderr_bytes = (result.stderr_bytes or b"") + f"{result.exception.line()}\n".encode()
            result.exit_code = result.exception.exit_code
        return result

    def take_in(self, *arguments: object) -> Result:
        return self.run(files.import_, *arguments)
