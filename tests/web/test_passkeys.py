"""Passkeys in a real Chromium with its virtual authenticator (W3C Web Authentication Level 2, section 11)."""

from __future__ import annotations

import pytest
from tests.web.conftest import served
from tests.web.test_doors import NOW, TOML

from leadline.app import accounts, describe
from leadline.measures.moments import FixedClock
from leadline.store.sqlite import SqliteStore
from leadline.web import site
from leadline.web.doors import KeptDoors


@pytest.fixture
def at(tmp_path):
    clock = FixedClock(NOW)
    path = tmp_path / "reef.db"
    with SqliteStore.open(path, clock=clock) as store:
        describe.add(store, clock, TOML)
        secret = accounts.first_invitation(store, clock)
    with served(site.build(lambda: SqliteStore.open(path, clock=clock), clock, doors=KeptDoors(clock))) as address:
        yield address.replace("127.0.0.1", "localhost"), secret, path, clock


def taken_up(context, address, secret):
    """A page on a device that makes passkeys, where Ada took up her invitation."""
    page = context.new_page()
    cdp = context.new_cdp_session(page)
    cdp.send("WebAuthn.enable")
    cdp.send("WebAuthn.addVirtualAuthenticator", {"options": {
        "protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True,
        "isUserVerified": True, "automaticPresenceSimulation": True,
    }})  # fmt: skip
    page.goto(f"{address}/come-in/{secret}")
    page.fill("#name", "Ada")
    page.click("text=Use a passkey")
    page.wait_for_url(f"{address}/system/lagoon")
    return page


def test_an_account_is_made_and_opened_by_a_passkey_alone(browser, at):
    address, secret, path, clock = at
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = taken_up(context, address, secret)
    with SqliteStore.open(path, clock=clock) as store:
        ada = store.account("ada")
        assert (ada.role, ada.hash) == ("owner", "")
        assert len(store.passkeys("ada")) == 1
    page.goto(f"{address}/me")
    page.click("main >> text=Sign out >> nth=0")
    page.wait_for_url(f"{address}/sign-in")
    page.goto(f"{address}/journal")
    assert "/sign-in?to=%2Fjournal" in page.url
    page.click("text=Sign in with a passkey")
    page.wait_for_url(f"{address}/journal")
    page.goto(f"{address}/me")
    page.click("text=Remove")
    assert "only way into the account" in page.inner_text("[role=alert] >> nth=0")
    context.close()


def test_a_signed_challenge_is_good_once_and_only_for_what_it_was_asked(browser, at):
    address, secret, _, _ = at
    context = browser.new_context()
    page = taken_up(context, address, secret)
    got = page.evaluate("""async () => {
      const post = async (path, body) => (await fetch(path, {method: 'POST',
        headers: {'content-type': 'application/json'}, body: JSON.stringify(body)}));
      const options = await (await post('/passkey/in/begin', {})).json();
      const made = await navigator.credentials.get(
        {publicKey: PublicKeyCredential.parseRequestOptionsFromJSON(options)});
      const credential = made.toJSON();
      const wrong = await post('/passkey/add/done', {credential});
      const options2 = await (await post('/passkey/in/begin', {})).json();
      const other = (await navigator.credentials.get(
        {publicKey: PublicKeyCredential.parseRequestOptionsFromJSON(options2)})).toJSON();
      const first = await post('/passkey/in/done', {credential: other});
      const again = await post('/passkey/in/done', {credential: other});
      return [wrong.status, first.status, again.status];
    }""")
    assert got == [422, 200, 422]
    context.close()
