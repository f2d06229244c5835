"""A thread that a fault of ours ends is heard, and a report is made only when something has changed."""

from __future__ import annotations

import pytest
from tests.feeds.inbox import Inbox

from leadline.feeds.handing import Said, run


@pytest.mark.law
def test_a_fault_is_said_and_not_hidden(inbox: Inbox) -> None:
    def work() -> None:
        raise KeyError("probe")

    with pytest.raises(KeyError):
        run(work, Said(inbox, "mqtt"))
    inbox.until_said("stopped by a fault of this program (KeyError: 'probe')", False)


@pytest.mark.law
def test_the_same_is_said_once(inbox: Inbox) -> None:
    say = Said(inbox, "mqtt")
    for ok in (True, True, False, False, True):
        say(ok, "connected" if ok else "lost")
    assert inbox.reports == [(True, "connected"), (False, "lost"), (True, "connected")]
