"""Passkeys against a device that lies: W3C Web Authentication Level 2, sections 7.1 and 7.2, step by step."""

from __future__ import annotations

import base64
import hashlib
import json

import cbor2
import pytest
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from tests.web.test_doors import NOW

from leadline.app import accounts, passkeys
from leadline.app.passkeys import Place
from leadline.measures.errors import BadInput
from leadline.measures.moments import FixedClock
from leadline.store.sqlite import SqliteStore

HERE = Place("reef.example", "https://reef.example")
PRESENT, VERIFIED, ATTESTED = 0x01, 0x04, 0x40  # section 6.1, flags
CHALLENGE = b"the challenge that was asked"


def b64(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


class Device:
    """An authenticator with one key, which says what it is told to say."""

    def __init__(self, ident: bytes = b"a key of this device") -> None:
        self.ident, self.key = ident, ec.generate_private_key(ec.SECP256R1())

    def _data(self, host: str, flags: int, uses: int) -> bytes:
        return hashlib.sha256(host.encode()).digest() + bytes([flags]) + uses.to_bytes(4)

    def _client(self, kind: str, origin: str, challenge: bytes) -> bytes:
        return json.dumps({"type": kind, "challenge": b64(challenge), "origin": origin}).encode()

    def make(self, *, host=HERE.host, origin=HERE.origin, challenge=CHALLENGE, flags=PRESENT | VERIFIED,
             kind="webauthn.create"):  # fmt: skip
        point = self.key.public_key().public_numbers()
        cose = cbor2.dumps({1: 2, 3: -7, -1: 1, -2: point.x.to_bytes(32), -3: point.y.to_bytes(32)})  # RFC 9053, 7.1.1
        data = self._data(host, flags | ATTESTED, 0) + bytes(16) + len(self.ident).to_bytes(2) + self.ident + cose
        return self._sent({
            "clientDataJSON": b64(self._client(kind, origin, challenge)),
            "attestationObject": b64(cbor2.dumps({"fmt": "none", "attStmt": {}, "authData": data})),
        })  # fmt: skip

    def sign(self, *, host=HERE.host, origin=HERE.origin, challenge=CHALLENGE, flags=PRESENT | VERIFIED, uses=0,
             kind="webauthn.get", ident=b"", key=None):  # fmt: skip
        data, client = self._data(host, flags, uses), self._client(kind, origin, challenge)
        signed = (key or self.key).sign(data + hashlib.sha256(client).digest(), ec.ECDSA(hashes.SHA256()))
        return self._sent({
            "clientDataJSON": b64(client), "authenticatorData": b64(data), "signature": b64(signed),
        }, ident)  # fmt: skip

    def _sent(self, response, ident: bytes = b""):
        name = b64(ident or self.ident)
        return {"id": name, "rawId": name, "type": "public-key", "response": response}


@pytest.fixture
def kept(tmp_path):
    clock = FixedClock(NOW)
    with SqliteStore.open(tmp_path / "x.db", clock=clock) as store:
        accounts.make(store, clock, "Ada", "owner")
        accounts.make(store, clock, "Bo", "reader")
        yield store, clock


LIES = [
    {"origin": "https://reef.example.invalid"}, {"origin": "http://reef.example"}, {"origin": "https://reef.example:8443"},
    {"host": "elsewhere.invalid"}, {"challenge": b"another challenge"}, {"flags": PRESENT}, {"flags": VERIFIED},
]  # fmt: skip


def named(lie):
    """The same in every process of a run, whatever key was made for it."""
    return " ".join(f"{k} {v if isinstance(v, str | int | bytes) else 'another'}" for k, v in lie.items())


@pytest.mark.parametrize("lie", [*LIES, {"kind": "webauthn.get"}], ids=named)
def test_no_passkey_is_kept_from_a_device_that_lies(kept, lie):
    store, clock = kept
    with pytest.raises(BadInput):
        passkeys.added(store, clock, HERE, "ada", Device().make(**lie), CHALLENGE, "x")
    assert store.passkeys() == []


@pytest.mark.parametrize("lie", [*LIES, {"kind": "webauthn.create"}, {"ident": b"somebody else's"},
                                 {"key": ec.generate_private_key(ec.SECP256R1())}], ids=named)  # fmt: skip
def test_no_account_is_opened_by_a_device_that_lies(kept, lie):
    store, clock = kept
    device = Device()
    passkeys.added(store, clock, HERE, "ada", device.make(), CHALLENGE, "x")
    assert passkeys.opened(store, clock, HERE, device.sign(), CHALLENGE).id == "ada"
    with pytest.raises(BadInput):
        passkeys.opened(store, clock, HERE, device.sign(**lie), CHALLENGE)


def test_a_copy_of_a_device_is_noticed_by_its_counter(kept):
    store, clock = kept
    device = Device()
    passkeys.added(store, clock, HERE, "ada", device.make(), CHALLENGE, "x")
    passkeys.opened(store, clock, HERE, device.sign(uses=7), CHALLENGE)
    with pytest.raises(BadInput):
        passkeys.opened(store, clock, HERE, device.sign(uses=7), CHALLENGE)
    assert passkeys.opened(store, clock, HERE, device.sign(uses=8), CHALLENGE).id == "ada"


def test_a_key_is_of_one_account_and_of_no_closed_one(kept):
    store, clock = kept
    device = Device()
    passkeys.added(store, clock, HERE, "bo", device.make(), CHALLENGE, "x")
    with pytest.raises(BadInput):
        passkeys.added(store, clock, HERE, "ada", device.make(), CHALLENGE, "x")
    assert passkeys.opened(store, clock, HERE, device.sign(), CHALLENGE).id == "bo"
    accounts.close(store, clock, "bo")
    with pytest.raises(BadInput):
        passkeys.opened(store, clock, HERE, device.sign(), CHALLENGE)
