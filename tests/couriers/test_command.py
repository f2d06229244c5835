"""Commands as real processes: text in, exit out, nothing left running, no shell."""

from __future__ import annotations

import dataclasses
import os
import pathlib
import select
import sys
import tempfile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from leadline.app.ports import Outgoing
from leadline.couriers.command import Command
from leadline.system.orders import CommandPath


def python(code: str, *words: str, timeout_s: float = 20.0) -> Command:
    return Command(CommandPath("bell", (sys.executable, "-c", code, *words), timeout_s))


@pytest.mark.contract
def test_text_comes_on_standard_input_and_the_rest_in_the_environment(message, tmp_path):
    got = tmp_path / "got"
    code = (
        "import os, sys; w = [os.environ[f'LEADLINE_{k}'] for k in ('PRIORITY', 'SUBJECT', 'ID')];"
        "open(sys.argv[1], 'wb').write('\\n'.join(w).encode() + b'\\n' + sys.stdin.buffer.read())"
    )
    receipt = python(code, str(got)).send(message)
    assert receipt.state == "delivered"
    assert got.read_text(encoding="utf-8") == (
        "urgent\nNorth room: 28,9 °C and rising\nd-17\n" + message.text + f"\n\nSeen it? Tap: {message.link}\n"
    )


@pytest.mark.contract
def test_another_exit_is_tried_again_and_says_its_last_line(message, refusal):
    code = "import sys; sys.stderr.write('first\\n no \\x1b[31mdevice\\x07 found \\n\\n'); sys.exit(3)"
    exc = refusal(lambda: python(code).send(message))
    assert not exc.permanent
    assert exc.line() == f"path bell: {sys.executable} ended with 3: no [31mdevice found"
    exc = refusal(lambda: python("import os; os.kill(os.getpid(), 9)").send(message))
    assert not exc.permanent
    assert exc.line().endswith("was ended by signal 9")


@pytest.fixture
def short_folder():
    with tempfile.TemporaryDirectory(prefix="c-") as name:
        yield pathlib.Path(name)


@pytest.mark.contract
def test_a_missing_program_is_refused_for_good(message, refusal, short_folder):
    tmp_path = short_folder  # a long path is shortened in the line
    plain = tmp_path / "plain.txt"
    plain.write_text("no program\n")
    broken = tmp_path / "broken"
    broken.write_text("neither a script nor a binary\n")
    broken.chmod(0o755)
    for words, why in (
        (("leadline-no-such-program",), "is not there"),
        ((str(tmp_path / "gone"),), "is not there"),
        ((str(plain),), "may not be run"),
        ((str(tmp_path),), "may not be run"),
        ((str(broken),), "is no program"),
        ((sys.executable, "x\0y"), "cannot be written as a command"),
    ):
        exc = refusal(lambda words=words: Command(CommandPath("bell", words)).send(message))
        assert exc.permanent
        assert exc.line() == f"path bell: {words[0]} {why}. Mend command in the standing orders."


@pytest.mark.contract
@pytest.mark.skipif(sys.platform == "win32", reason="process groups are those of POSIX")
def test_one_that_hangs_is_ended_with_all_it_started(message, refusal, tmp_path):
    fifo = tmp_path / "life"
    os.mkfifo(fifo)
    # the child holds the pipe's end open, and would for an hour: its end is what we wait for
    code = (
        "import subprocess, sys\n"
        "life = open(sys.argv[1], 'wb')\n"
        "life.write(b'x'); life.flush()\n"
        "subprocess.run([sys.executable, '-c', 'import time; time.sleep(3600)'], stdin=subprocess.DEVNULL, stdout=life)"
    )
    end = os.open(fifo, os.O_RDONLY | os.O_NONBLOCK)
    try:
        exc = refusal(lambda: python(code, str(fifo), timeout_s=2.0).send(message))
        assert not exc.permanent
        assert "took longer than 2 s" in exc.line()
        assert os.read(end, 10) == b"x"
        readable, _, _ = select.select([end], [], [], 10.0)
        assert readable
        assert os.read(end, 10) == b""  # nobody holds it any more
    finally:
        os.close(end)


@pytest.mark.contract
def test_one_that_reads_nothing_and_one_that_shouts_are_no_trouble(message, refusal):
    long = dataclasses.replace(message, text="x" * 500_000)
    assert python("").send(long).state == "delivered"
    shout = "import sys; [sys.stderr.write('noise ' * 1000 + '\\n') for _ in range(2000)]; sys.exit(1)"
    exc = refusal(lambda: python(shout).send(message))
    assert len(exc.line()) < 400


@pytest.mark.contract
def test_a_child_that_plays_on_does_not_hold_the_receipt_up(message, tmp_path):
    """A sounder may leave something running, with our pipe open: what counts is its own exit."""
    fifo = tmp_path / "end"
    os.mkfifo(fifo)
    code = (
        "import subprocess, sys; subprocess.Popen([sys.executable, '-c', 'import sys; open(sys.argv[1]).read()',"
        " sys.argv[1]], stdin=subprocess.DEVNULL)"
    )
    try:
        assert python(code, str(fifo)).send(message).state == "delivered"
    finally:
        with open(fifo, "w"):  # the child ends
            pass


@pytest.mark.contract
def test_no_shell_reads_the_words(message, tmp_path):
    mark = tmp_path / "mark"
    hostile = f"$(touch {mark}); `touch {mark}` | touch {mark} && touch {mark}"
    courier = Command(CommandPath("bell", (sys.executable, "-c", "", hostile)))
    courier.send(dataclasses.replace(message, subject=hostile, text=hostile, id=hostile, priority=hostile))
    assert not mark.exists()


@pytest.mark.law
@settings(max_examples=15, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(subject=st.text(max_size=80), text=st.text(max_size=200), ident=st.text(max_size=40))
def test_whatever_the_words_the_command_gets_them(subject, text, ident):
    cat = next((p for p in ("/bin/cat", "/usr/bin/cat") if pathlib.Path(p).exists()), None)
    if cat is None:
        pytest.skip("this machine has no cat")
    assert Command(CommandPath("bell", (cat,))).send(Outgoing(ident, "low", subject, text)).state == "delivered"
