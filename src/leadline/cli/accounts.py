"""`leadline account`: who may come in to the pages."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from leadline.cli.output import emit
from leadline.measures.errors import BadInput, UnknownName

if TYPE_CHECKING:
    from leadline.cli.main import Bridge

_ROLES = click.Choice(["owner", "keeper", "sitter", "reader"])


@click.group(short_help="Who may come in to the pages.")
def account() -> None:
    """Accounts of the pages. The prompt itself asks for none: whoever may read the store's file owns it.

    \b
    Roles: owner (everything, people too), keeper (everything but people), sitter (sees all, logs, answers alarms;
    changes nothing else), reader (sees all, writes nothing).

    \b
    Examples:
      leadline account invite --first
      leadline account make "Ada" --role keeper
      leadline account list
    """


@account.command()
@click.argument("name")
@click.option("--role", type=_ROLES, default="keeper", show_default=True, help="What the account may do.")
@click.pass_obj
def make(bridge: Bridge, name: str, role: str) -> None:
    """Make an account of NAME; its passphrase is asked for, or read from standard input.

    \b
    Example:
      leadline account make "Ada" --role owner
    """
    from leadline.app import accounts

    if sys.stdin.isatty():
        passphrase = click.prompt("Passphrase", hide_input=True, confirmation_prompt=True)
    else:
        passphrase = sys.stdin.readline().rstrip("\r\n")
    if not passphrase:
        raise BadInput("an account made here needs a passphrase", way_out="Or invite: leadline account invite NAME.")
    made = accounts.make(bridge.store(), bridge.clock, name, role, passphrase)
    _say(bridge, made.id, f"Made {made.name} ({made.role}).")


@account.command()
@click.argument("name", required=False, default="")
@click.option("--role", type=_ROLES, default="reader", show_default=True, help="What the account may do.")
@click.option("--again", is_flag=True, help="NAME has an account and forgot the passphrase.")
@click.option("--first", is_flag=True, help="The owner's own account, at the first start.")
@click.option("--address", default="http://localhost:8077", show_default=True, help="Where the pages are.")
@click.pass_obj
def invite(bridge: Bridge, name: str, role: str, again: bool, first: bool, address: str) -> None:
    """Print an address that makes an account once, within a week.

    \b
    Examples:
      leadline account invite "Ada" --role sitter --address http://192.168.1.20:8077
      leadline account invite "Ada" --again
    """
    from leadline.app import accounts

    store = bridge.store()
    if first:
        secret = accounts.first_invitation(store, bridge.clock)
        if secret is None:
            raise BadInput("there is an owner already", way_out="Invite with a name and a role.")
    elif not name:
        raise BadInput("whom?", way_out='Give a name: leadline account invite "Ada" --role sitter.')
    else:
        secret = accounts.invite(store, bridge.clock, name, role, account=name if again else "")
    link = f"{address.rstrip('/')}/come-in/{secret}"
    if bridge.json:
        emit({"schema": "leadline.invitation/1", "name": name, "role": "owner" if first else role, "address": link})
        return
    click.echo(link)


@account.command("list")
@click.pass_obj
def list_(bridge: Bridge) -> None:
    """All accounts, and what else opens a door: invitations, programs' tokens, shared pages.

    \b
    Example:
      leadline account list
    """
    store = bridge.store()
    found = [a for a in store.accounts() if a.closed_at is None]
    passes = store.passes()
    if bridge.json:
        emit({
            "schema": "leadline.accounts/1",
            "accounts": [{"id": a.id, "name": a.name, "role": a.role, "passkeys": [k.id for k in store.passkeys(a.id)]}
                         for a in found],
            "passes": [{"mark": p.digest[:16], "kind": p.kind, "account": p.account, "name": p.name,
                        "target": p.target, "ends_at": p.ends_at.isoformat() if p.ends_at else None}
                       for p in passes],
        })  # fmt: skip
        return
    for a in found:
        click.echo(f"{a.id}  {a.name}  {a.role}")
    for p in passes:
        until = f", until {p.ends_at:%Y-%m-%d %H:%M}Z" if p.ends_at else ""
        click.echo(f"{p.digest[:16]}  {p.kind} {p.name or p.account} {p.target}{until}")
    if not found:
        click.echo("No account yet: leadline account invite --first")


@account.command()
@click.argument("name")
@click.argument("role", type=_ROLES)
@click.pass_obj
def role(bridge: Bridge, name: str, role: str) -> None:
    """Give NAME another ROLE.

    \b
    Example:
      leadline account role ada sitter
    """
    from leadline.app import accounts

    changed = accounts.give_role(bridge.store(), bridge.clock, name, role)
    _say(bridge, changed.id, f"{changed.name} is {changed.role} now.")


@account.command()
@click.argument("name")
@click.pass_obj
def passphrase(bridge: Bridge, name: str) -> None:
    """Set another passphrase for NAME: every browser signed in to it must sign in again.

    \b
    Example:
      leadline account passphrase ada
    """
    from leadline.app import accounts

    store = bridge.store()
    there = accounts.named(store, name)
    given = (
        click.prompt("Passphrase", hide_input=True, confirmation_prompt=True)
        if sys.stdin.isatty()
        else sys.stdin.readline().rstrip("\r\n")
    )
    accounts.change_passphrase(store, bridge.clock, there, given)
    _say(bridge, there.id, f"The passphrase of {there.name} is changed.")


@account.command()
@click.argument("name")
@click.option("--units", type=click.Choice(["metric", "us", "system"]), required=True, help="What their pages show.")
@click.pass_obj
def units(bridge: Bridge, name: str, units: str) -> None:
    """What units the pages of NAME show.

    \b
    Example:
      leadline account units ada --units us
    """
    from leadline.app import accounts

    store = bridge.store()
    changed = accounts.wish(store, accounts.named(store, name), {"units": "" if units == "system" else units})
    _say(bridge, changed.id, f"{changed.name} sees {units} units.")


@account.command()
@click.argument("name")
@click.option(
    "--mark",
    type=click.Choice(["point", "comma", "language"]),
    required=True,
    help="As in 8.1, as in 8,1, or as their language has it.",
)
@click.pass_obj
def decimals(bridge: Bridge, name: str, mark: str) -> None:
    """With which decimal mark the pages write numbers to NAME. Both are understood where one types.

    \b
    Example:
      leadline account decimals ada --mark comma
    """
    from leadline.app import accounts

    store = bridge.store()
    changed = accounts.wish(store, accounts.named(store, name), {"decimal": {"point": ".", "comma": ","}.get(mark, "")})
    said = "as their language has it" if mark == "language" else f"with a {mark}"
    _say(bridge, changed.id, f"{changed.name} sees numbers {said}.")


@account.command()
@click.argument("name")
@click.option("--language", "tag", metavar="TAG", required=True, help="Such as en; 'browser' leaves it to theirs.")
@click.pass_obj
def language(bridge: Bridge, name: str, tag: str) -> None:
    """In which language the pages speak to NAME. The prompt stays in English.

    \b
    Example:
      leadline account language ada --language en
    """
    from leadline.app import accounts
    from leadline.web.languages import shelf

    store, known = bridge.store(), shelf()
    if tag != "browser" and tag not in known:
        raise UnknownName("language", tag[:20], (*known, "browser"))
    changed = accounts.wish(store, accounts.named(store, name), {"language": "" if tag == "browser" else tag})
    said = "as their browser asks" if tag == "browser" else f"in {known[tag].name}"
    _say(bridge, changed.id, f"The pages speak to {changed.name} {said}.")


@account.command()
@click.argument("name")
@click.pass_obj
def close(bridge: Bridge, name: str) -> None:
    """Close the account of NAME: its browsers are signed out, its keys and tokens go. What it wrote stays.

    \b
    Example:
      leadline account close ada
    """
    from leadline.app import accounts

    closed = accounts.close(bridge.store(), bridge.clock, name)
    _say(bridge, closed.id, f"Closed the account of {closed.name}.")


@account.command()
@click.argument("name")
@click.argument("program")
@click.option("--may", type=click.Choice(["view", "log", "keep"]), default="view", show_default=True,
              help="What the program may do, never more than NAME.")  # fmt: skip
@click.pass_obj
def token(bridge: Bridge, name: str, program: str, may: str) -> None:
    """Print a token with which PROGRAM asks the HTTP interface in the name of NAME. It is shown once.

    \b
    Example:
      leadline account token ada "house screen" --may view
    """
    from leadline.app import accounts

    store = bridge.store()
    secret = accounts.program_token(store, bridge.clock, accounts.named(store, name), program, may)
    if bridge.json:
        emit({"schema": "leadline.token/1", "name": program, "may": may, "token": secret})
        return
    click.echo(secret)


@account.command()
@click.argument("page")
@click.option("--days", type=click.Choice(["1", "7", "30"]), default="7", show_default=True, help="For how long.")
@click.option("--address", default="http://localhost:8077", show_default=True, help="Where the pages are.")
@click.pass_obj
def share(bridge: Bridge, page: str, days: str, address: str) -> None:
    """Print an address that shows one PAGE, to be read only, for some days.

    \b
    Example:
      leadline account share /system/north-room --days 7
    """
    from leadline.app import accounts

    if not accounts.shareable(page):
        raise BadInput(f"{page!r} is no page to share", way_out="For example /system/north-room.")
    secret = accounts.share(bridge.store(), bridge.clock, "", page, page, int(days))
    link = f"{address.rstrip('/')}/shared/{secret}"
    if bridge.json:
        emit({"schema": "leadline.share/1", "page": page, "days": int(days), "address": link})
        return
    click.echo(link)


@account.command("take-back")
@click.argument("mark")
@click.pass_obj
def take_back(bridge: Bridge, mark: str) -> None:
    """End an invitation, a program's token or a shared page by its MARK, as `leadline account list` shows it.

    \b
    Example:
      leadline account take-back 0123456789abcdef
    """
    from leadline.app import accounts

    accounts.take_back(bridge.store(), bridge.clock, mark)
    _say(bridge, mark, "Taken back.")


@account.command("drop-passkey")
@click.argument("name")
@click.argument("key", metavar="ID")
@click.pass_obj
def drop_passkey(bridge: Bridge, name: str, key: str) -> None:
    """Forget a passkey of NAME, of a device that was lost; `leadline account list --json` shows their ids.

    \b
    Example:
      leadline account drop-passkey ada 8f0xQ2b
    """
    from leadline.app import accounts, passkeys

    store = bridge.store()
    there = accounts.named(store, name)
    if not any(k.id == key for k in store.passkeys(there.id)):
        raise BadInput(f"{there.name} has no passkey {key[:40]!r}", way_out="List them: leadline account list --json.")
    passkeys.drop(store, bridge.clock, there, key)
    _say(bridge, there.id, f"A passkey of {there.name} is forgotten.")


@account.command()
@click.option("-n", "most", type=click.IntRange(1, 2000), default=50, show_default=True, help="How many.")
@click.pass_obj
def events(bridge: Bridge, most: int) -> None:
    """What happened at the door, the newest first.

    \b
    Example:
      leadline account events -n 20
    """
    found = bridge.store().door_events(most)
    if bridge.json:
        emit({
            "schema": "leadline.door/1",
            "events": [{"at": e.at.isoformat(), "what": e.what, "account": e.account, "from": e.origin}
                       for e in found],
        })  # fmt: skip
        return
    for e in found:
        click.echo(f"{e.at:%Y-%m-%d %H:%M}Z  {e.what}  {e.account}  {e.origin}".rstrip())


def _say(bridge: Bridge, ident: str, words: str) -> None:
    if bridge.json:
        emit({"schema": "leadline.account/1", "id": ident, "words": words})
        return
    click.echo(words)
