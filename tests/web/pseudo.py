"""A pseudo-language made from the list of sentences: accented, a third longer, gaps and markup as they were.

It is no choice of any reader: only the tests hand it to the pages, to find what is not said through the catalogue,
and what has no room for a language with longer words. `qps` is of the codes that ISO 639 keeps for local use.
"""

from __future__ import annotations

import gettext
import io
import re

from tools import strings

from leadline.measures.words import ENGLISH, Tongue

TAG = "qps"
_KEPT = re.compile(r"(<code>.*?</code>|<[^>]*>|&\w+;|%\(\w+\)s|%%|\{\w*\})")
_PLAIN = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
_ACCENTED = "àƀçđéƒĝĥîĵķļɱñöþɋŕšţûṽŵẋýžÀƁÇĐÉƑĜĤÎĴĶĻṀÑÖÞɊŔŠŢÛṼŴẊÝŽ"


def said(text: str) -> str:
    """A sentence in it: every letter accented, every third one twice."""
    n = 0

    def word(part: str) -> str:
        nonlocal n
        out = []
        for c in part:
            if c not in _PLAIN:
                out.append(c)
                continue
            n += 1
            out.append(_ACCENTED[_PLAIN.index(c)] * (2 if n % 3 == 0 else 1))
        return "".join(out)

    return "".join(part if _KEPT.fullmatch(part) else word(part) for part in _KEPT.split(text))


def compiled() -> bytes:
    """Its catalogue, as the tool compiles one."""
    found = strings.read(strings.written(strings.messages(), strings.header(TAG, TAG)))
    for m in found.values():
        if m.one:
            m.said = [said(m.one), said(m.many)] if m.many else [said(m.one)]
    assert strings.faults(found) == []
    return strings.compiled(found)


def tongues() -> dict[str, Tongue]:
    """English and it."""
    return {"en": ENGLISH, TAG: Tongue(TAG, TAG, gettext.GNUTranslations(io.BytesIO(compiled())))}
