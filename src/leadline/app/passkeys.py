"""Passkeys: keys that a device keeps, checked as Web Authentication (W3C, Level 2) asks."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from leadline.app import accounts
from leadline.app.ports import Account, Passkey, Store
from leadline.measures.errors import BadInput
from leadline.measures.moments import Clock

_NO = "this device's answer was not accepted"


@dataclass(frozen=True, slots=True)
class Place:
    """Where a passkey is asked for: it opens this host alone.

    Attributes
    ----------
    host
        The name in the address bar, without its port.
    origin
        Scheme, host and port.
    """

    host: str
    origin: str


def begin_adding(place: Place, name: str, user: str, known: list[Passkey]) -> tuple[str, bytes]:
    """What the browser is asked to make, as JSON, and the challenge that it must sign."""
    import webauthn
    from webauthn.helpers import structs as s

    options = webauthn.generate_registration_options(
        rp_id=place.host, rp_name="Leadline", user_id=user.encode()[:64], user_name=name, user_display_name=name,
        exclude_credentials=[s.PublicKeyCredentialDescriptor(id=_raw(k.id)) for k in known],
        authenticator_selection=s.AuthenticatorSelectionCriteria(
            resident_key=s.ResidentKeyRequirement.REQUIRED, user_verification=s.UserVerificationRequirement.REQUIRED,
        ),
    )  # fmt: skip
    return webauthn.options_to_json(options), options.challenge


def added(
    store: Store, clock: Clock, place: Place, account: str, credential: Mapping[str, Any], challenge: bytes, name: str
) -> Passkey:
    """Keep the passkey that a device made for an account.

    Raises
    ------
    BadInput
        When what came is not the answer to the challenge, from this host.
    """
    import webauthn
    from webauthn.helpers.exceptions import WebAuthnException

    try:
        got = webauthn.verify_registration_response(
            credential=dict(credential), expected_challenge=challenge, expected_rp_id=place.host,
            expected_origin=place.origin, require_user_verification=True,
        )  # fmt: skip
    except (WebAuthnException, ValueError, KeyError, TypeError) as exc:
        raise BadInput(_NO, way_out="Try again, or take a passphrase.") from exc
    ident = _text(got.credential_id)
    if any(k.id == ident for k in store.passkeys()):
        raise BadInput("this passkey is known already", way_out="Take another device.")
    key = Passkey(ident, account, got.credential_public_key, got.sign_count, " ".join(name.split())[:60], clock.now())
    with store.together():
        store.keep_passkey(key)
        accounts.happened(store, clock, "passkey added", account)
    return key


def begin_opening(place: Place) -> tuple[str, bytes]:
    """What the browser is asked to sign; it finds the passkeys of this host by itself."""
    import webauthn
    from webauthn.helpers import structs as s

    options = webauthn.generate_authentication_options(
        rp_id=place.host, user_verification=s.UserVerificationRequirement.REQUIRED
    )
    return webauthn.options_to_json(options), options.challenge


def opened(store: Store, clock: Clock, place: Place, credential: Mapping[str, Any], challenge: bytes) -> Account:
    """Whose account a signed challenge opens.

    Raises
    ------
    BadInput
    """
    import webauthn
    from webauthn.helpers.exceptions import WebAuthnException

    key = next((k for k in store.passkeys() if k.id == str(credential.get("id", ""))), None)
    account = store.account(key.account) if key is not None else None
    if key is None or account is None or account.closed_at is not None:
        raise BadInput("nobody here knows this passkey", way_out="Sign in with the passphrase, then add it.")
    try:
        got = webauthn.verify_authentication_response(
            credential=dict(credential), expected_challenge=challenge, expected_rp_id=place.host,
            expected_origin=place.origin, credential_public_key=key.public_key,
            credential_current_sign_count=key.uses, require_user_verification=True,
        )  # fmt: skip
    except (WebAuthnException, ValueError, KeyError, TypeError) as exc:
        raise BadInput(_NO, way_out="Try again, or take the passphrase.") from exc
    store.keep_passkey(replace(key, uses=got.new_sign_count, used_at=clock.now()))
    return account


def challenge_in(credential: Mapping[str, Any]) -> bytes:
    """The challenge that an answer claims to have signed; empty when it can't be read."""
    try:
        from webauthn.helpers import base64url_to_bytes

        client = json.loads(base64url_to_bytes(str(credential["response"]["clientDataJSON"])))
        return base64url_to_bytes(str(client["challenge"]))
    except (KeyError, TypeError, ValueError, RecursionError):
        return b""


def drop(store: Store, clock: Clock, account: Account, ident: str) -> None:
    """Forget a passkey; not the last way in.

    Raises
    ------
    BadInput
    """
    if not account.hash and len(store.passkeys(account.id)) <= 1:
        raise BadInput("this is the only way into the account", way_out="Set a passphrase first.")
    with store.together():
        if store.drop_passkey(ident, account.id):
            accounts.happened(store, clock, "passkey removed", account.id)


def _raw(ident: str) -> bytes:
    from webauthn.helpers import base64url_to_bytes

    return base64url_to_bytes(ident)


def _text(raw: bytes) -> str:
    from webauthn.helpers import bytes_to_base64url

    return bytes_to_base64url(raw)
