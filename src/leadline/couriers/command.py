"""A local command such as a sounder: the text on its standard input, its exit as the outcome."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import tempfile
import threading
from typing import IO

from leadline.app.ports import Outgoing, Receipt, Undelivered
from leadline.couriers import attempt
from leadline.system.orders import CommandPath

_TAIL = 4096  # bytes of its complaints that are kept


class Command:
    """A courier for one command path."""

    def __init__(self, path: CommandPath) -> None:
        self.path = path
        self._where = f"path {path.id}"

    def send(self, message: Outgoing) -> Receipt:
        """Run the command once; no shell sees a word of the message.

        Raises
        ------
        Undelivered
            When it is missing, takes too long, or ends with anything but 0.
        """
        program = attempt.one_line(self.path.command[0], 80)
        with tempfile.TemporaryFile() as text:
            text.write((attempt.whole_text(message) + "\n").encode())
            text.seek(0)
            process = self._started(program, text, message)
        complaints = _Tail(process.stderr)
        try:
            ended = process.wait(self.path.timeout_s)
        except subprocess.TimeoutExpired:
            _end(process)
            raise self._failed(f"{program} was ended: it took longer than {self.path.timeout_s:g} s") from None
        if ended == 0:
            return Receipt("delivered", f"{program} ended well")
        complaints.closed.wait(1.0)  # no longer: a child left behind may hold it open
        how = f"ended with {ended}" if ended > 0 else f"was ended by signal {-ended}"
        last = complaints.last_line()
        raise self._failed(f"{program} {how}" + (f": {last}" if last else ""))

    def _started(self, program: str, text: IO[bytes], message: Outgoing) -> subprocess.Popen[bytes]:
        told = {
            "LEADLINE_PRIORITY": attempt.one_line(message.priority, 40),
            "LEADLINE_SUBJECT": attempt.one_line(message.subject, 500),
            "LEADLINE_ID": attempt.one_line(message.id, 200),
        }
        try:
            return subprocess.Popen(
                list(self.path.command), stdin=text, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
                env={**os.environ, **told}, start_new_session=True,
            )  # fmt: skip
        except FileNotFoundError:
            why = "is not there"
        except PermissionError:
            why = "may not be run"
        except ValueError:  # a zero byte in a word
            why = "cannot be written as a command"
        except OSError as exc:
            if exc.errno not in _NO_PROGRAM:
                raise self._failed(f"{program} did not start: {exc.strerror}") from None
            why = "is no program"
        raise self._failed(f"{program} {why}", permanent=True, way_out="Mend command in the standing orders.")

    def _failed(self, what: str, *, permanent: bool = False, way_out: str = "") -> Undelivered:
        return Undelivered(what, permanent=permanent, where=self._where, way_out=way_out)


_NO_PROGRAM = (8, 20, 21, 36, 40)  # ENOEXEC, ENOTDIR, EISDIR, ENAMETOOLONG, ELOOP


class _Tail:
    """The end of what a program writes, read as it comes: however much it is, it neither blocks nor fills memory."""

    def __init__(self, stream: IO[bytes] | None) -> None:
        self.closed = threading.Event()
        self._kept = b""
        self._stream = stream
        threading.Thread(target=self._read, name="courier complaints", daemon=True).start()

    def _read(self) -> None:
        if self._stream is not None:
            with self._stream as stream:
                while part := os.read(stream.fileno(), _TAIL):
                    self._kept = (self._kept + part)[-_TAIL:]
        self.closed.set()

    def last_line(self) -> str:
        lines = [attempt.one_line(line) for line in self._kept.decode("utf-8", "replace").splitlines()]
        return next((line for line in reversed(lines) if line), "")


def _end(process: subprocess.Popen[bytes]) -> None:
    """End the program and all that it started in its group."""
    if sys.platform == "win32":
        process.kill()
    else:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
    process.wait()
