"""Codes and links by which a message is answered: unguessable, for one purpose, worked out from a secret key.

Nothing of them is kept: whoever holds the key can tell a right one from a wrong one.
"""

from __future__ import annotations

import hashlib
import hmac

_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # Crockford's base 32: no I, L, O, U
_FOLDED = str.maketrans({"O": "0", "I": "1", "L": "1"})


def _mac(key: bytes, purpose: str, message: str, person: str, path: str) -> bytes:
    said = "\0".join((purpose, message, person, path)).encode()
    return hmac.new(key, said, hashlib.sha256).digest()


def link_code(key: bytes, message: str, person: str, path: str) -> str:
    """What stands in a link: 128 bits, in hexadecimal."""
    return _mac(key, "link", message, person, path)[:16].hex()


def reply_code(key: bytes, message: str, person: str, path: str) -> str:
    """What a reply must carry: 50 bits as `7QK4F-9XM2B`."""
    number = int.from_bytes(_mac(key, "reply", message, person, path)[:7], "big") >> 6
    text = "".join(_ALPHABET[number >> 5 * k & 31] for k in range(9, -1, -1))
    return f"{text[:5]}-{text[5:]}"


def same(given: str, right: str) -> bool:
    """Whether a code that somebody typed is the right one, whatever its case; takes the same time either way."""
    folded = given.upper().translate(_FOLDED) if "-" in right else given.lower()
    return hmac.compare_digest(folded.encode(), right.encode())
