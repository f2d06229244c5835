"""The reader's language: sentences are written in English and said through the catalogue of whoever reads.

Whoever lets a reader in sets the language, once, with `speak`: the pages at the door of each request. Nobody else
sets it, so that the prompt, the watch and its messages, programs and tests hear English, the language of the source.
It is held for the running request alone, as `contextvars` holds it: two readers at one time do not mix.

A sentence is marked where it stands, whole and with named gaps: `_("Logged {amount}.").format(amount=amount)`.
In a table that is made when a module is loaded it is only noted with `N_`, and said by `_` when it is shown.
What is kept from one request to the next and holds sentences belongs under `manner()` too.
"""

from __future__ import annotations

import gettext as catalogues
from contextvars import ContextVar
from dataclasses import dataclass, field

DECIMALS = (".", ",")  # the marks that may stand between whole and part
SOURCE = "en"  # the language that sentences are written in


@dataclass(frozen=True, slots=True)
class Tongue:
    """A language: its tag (BCP 47), what it calls itself, its catalogue, and the mark that stands in its decimals."""

    tag: str = SOURCE
    name: str = "English"
    catalogue: catalogues.NullTranslations = field(default_factory=catalogues.NullTranslations)
    decimal: str = "."


ENGLISH = Tongue()
_SPOKEN: ContextVar[Tongue] = ContextVar("spoken", default=ENGLISH)


def speak(tongue: Tongue) -> None:
    """Set the language of the running request: only its door calls this."""
    _SPOKEN.set(tongue)


def tongue() -> Tongue:
    """The language that is spoken, whole."""
    return _SPOKEN.get()


def language() -> str:
    """The tag of the language that is spoken."""
    return _SPOKEN.get().tag


def decimal_mark() -> str:
    """The mark between whole and part: a point or a comma."""
    return _SPOKEN.get().decimal


def manner() -> str:
    """Language and decimal mark in one: what is kept and holds sentences is kept under it."""
    tongue = _SPOKEN.get()
    return f"{tongue.tag} {tongue.decimal}"


def gettext(message: str) -> str:
    """A sentence in the reader's language; as it is written where the catalogue lacks it."""
    tongue = _SPOKEN.get()
    if tongue is ENGLISH or not message:  # of nothing a catalogue would say its header
        return message
    return tongue.catalogue.gettext(message)


def ngettext(one: str, many: str, number: int) -> str:
    """The sentence for one, or for so many."""
    return _SPOKEN.get().catalogue.ngettext(one, many, number)


def N_(message: str) -> str:
    """Note a sentence for the catalogues, to be said by `_` later."""
    return message


_ = gettext
