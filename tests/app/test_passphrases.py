"""A passphrase is refused when it is short, common, or what somebody who knows the house would try."""

from __future__ import annotations

import pytest

from leadline.app.accounts import LEAST, MOST, good_enough
from leadline.measures.errors import BadInput

COMMON = [  # of twelve characters or more, in the published lists of leaked passphrases: from memory
    "123456789012", "qwertyuiop123", "1q2w3e4r5t6y", "passwordpassword", "password1234", "iloveyou1234",
    "1qaz2wsx3edc", "administrator", "qwertyuiopasdfghjkl", "abc123abc123", "football1234", "princess12345",
    "P@ssw0rd1234", "letmeinletmein",
]  # fmt: skip
OF_THE_HOUSE = ["leadline2026", "aquarium1234", "coralreef123", "ReefReefReef1", "passphrase12", "adalovelace12"]
GOOD = [
    "brass lantern over quiet shoals",
    "seven slow herons wading",
    "tolv rolige måker",
    "k7#Vw2!qPz9&",
    "x" * 8 + " k9 Quoll",
]


@pytest.mark.parametrize("passphrase", [*COMMON, *OF_THE_HOUSE, "aaaaaaaaaaaa", "abababababab"])
def test_what_would_be_tried_first_is_refused(passphrase):
    with pytest.raises(BadInput, match="among the first tried"):
        good_enough(passphrase, "Ada Lovelace")


@pytest.mark.parametrize("passphrase", GOOD)
def test_words_of_ones_own_are_taken(passphrase):
    good_enough(passphrase, "Ada Lovelace")


def test_the_length_is_counted_first_and_a_long_one_is_taken_whole():
    with pytest.raises(BadInput, match=f"at least {LEAST} characters"):
        good_enough("k7#Vw2!qPz9")
    with pytest.raises(BadInput, match=f"at most {MOST} characters"):
        good_enough("k7#Vw2 " * 100)
    good_enough("brass lantern over quiet shoals " * 10)
