"""Certificates made once, one message, a clock that stands still, and a way to read all that an error says."""

from __future__ import annotations

import datetime as dt
import pathlib
import traceback
from collections.abc import Callable

import pytest
from tests.peers.certificates import Certificates

from leadline.app.ports import Outgoing, Undelivered
from leadline.measures.moments import UTC, FixedClock

SECRET = "hunter-two/pärl ✓"


@pytest.fixture(scope="session")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    folder: pathlib.Path = tmp_path_factory.mktemp("certificates")
    return Certificates(folder)


@pytest.fixture
def clock() -> FixedClock:
    return FixedClock(dt.datetime(2026, 3, 1, 8, 0, tzinfo=UTC))


@pytest.fixture
def message() -> Outgoing:
    return Outgoing(
        id="d-17",
        priority="urgent",
        subject="North room: 28,9 °C and rising",
        text="Temperature 28.9 °C since 03:10, +0.4 °C an hour.\nFirst step: switch chiller-1 off.\n.\nFrom the watch.",
        link="http://192.168.1.20:8078/a/7f3a",
        code="7QK4F-9XM2B",
    )


@pytest.fixture
def refusal(caplog: pytest.LogCaptureFixture) -> Callable[..., Undelivered]:
    """Runs something that must fail as Undelivered, and looks for secrets in all that is said of it, logs included."""
    caplog.set_level(1)

    def run(work: Callable[[], object], *secrets: str) -> Undelivered:
        with pytest.raises(Undelivered) as caught:
            work()
        exc = caught.value
        ours = [r.getMessage() for r in caplog.records if r.name != "mail.log"]  # that is the log of the tests' server
        everything = "\n".join([repr(exc), exc.line(), *traceback.format_exception(exc), *ours, repr(vars(exc))])
        chain: BaseException | None = exc
        while chain is not None:  # whatever shows an error may also show what stands behind it
            everything += f"\n{chain!r} {vars(chain)!r}"
            chain = chain.__cause__ or chain.__context__
        for secret in secrets:
            assert secret not in everything
        assert "\n" not in exc.line()
        return exc

    return run
