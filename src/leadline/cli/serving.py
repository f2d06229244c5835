"""`leadline serve` and `leadline demo`: the pages, on this machine."""

from __future__ import annotations

import datetime as dt
import ipaddress
import signal
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from leadline.measures.errors import BadInput, Unreachable

if TYPE_CHECKING:
    from leadline.app.ports import Store
    from leadline.cli.demo_watch import Night
    from leadline.cli.main import Bridge
    from leadline.measures.moments import Clock
    from leadline.watch.lock import Lock
    from leadline.watch.loop import Loop

_HOST = "127.0.0.1"
_ALONE = ("127.0.0.1", "localhost", "::1")
_CIPHERS = "ECDHE+AESGCM:ECDHE+CHACHA20"  # of TLS 1.2; those of 1.3 stand by themselves (RFC 9325, 4.2)


@click.command(short_help="Serve the pages and run the watch.")
@click.option("--host", default=_HOST, show_default=True, help="Address to listen on; this machine only by default.")
@click.option("--port", type=click.IntRange(0, 65535), default=8077, show_default=True, help="0 takes any free port.")
@click.option(
    "--name",
    "names",
    multiple=True,
    metavar="HOST",
    help="A further name by which browsers may ask, such as reef.local.",
)
@click.option("--no-watch", is_flag=True, help="Only the pages: nothing is noticed, nothing is sent.")
@click.option("--open", "open_house", is_flag=True, help="Ask for no account, on this machine alone.")
@click.option("--cert", type=click.Path(path_type=Path), help="TLS: the certificate's file (PEM).")
@click.option("--key", type=click.Path(path_type=Path), help="TLS: the key's file (PEM).")
@click.option("--proxy", default="", metavar="ADDRESS",
              help="Believe the headers of a reverse proxy at this address about who asks, and over what.")  # fmt: skip
@click.pass_obj
def serve(bridge: Bridge, host: str, port: int, names: tuple[str, ...], no_watch: bool, open_house: bool,
          cert: Path | None, key: Path | None, proxy: str) -> None:  # fmt: skip
    """Serve the pages and run the watch until Ctrl-C.

    The first start prints an address at which the owner's account is made. With --open there are no accounts, and
    whoever uses this machine may do everything.

    \b
    Examples:
      leadline serve
      leadline --db reef.db serve --port 9000
      leadline serve --host 192.168.1.20 --name reef.local
      leadline serve --host 0.0.0.0 --name reef.example --cert reef.pem --key reef.key
    """
    if open_house and (host not in _ALONE or names or proxy):
        raise BadInput("--open is for this machine alone", way_out="Leave out --host, --name and --proxy, or --open.")
    bridge.store().close()  # an unreadable store is said now, not at the first page
    _serve(bridge.path, bridge.clock, host, port, names, with_watch=not no_watch, open_house=open_house,
           outside=Outside(_tls(cert, key), _proxy(proxy)))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outside:
    """How the pages are reached from elsewhere: certificate and key, or a proxy whose headers are believed."""

    tls: tuple[str, str] | None = None
    proxy: str = ""


def _tls(cert: Path | None, key: Path | None) -> tuple[str, str] | None:
    """Certificate and key, read once before anything starts."""
    if cert is None and key is None:
        return None
    if cert is None or key is None:
        raise BadInput("--cert and --key go together", way_out="Give both files.")
    import ssl

    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(cert, key)
    except OSError as exc:
        why = exc.strerror or str(exc).partition("(_ssl")[0].strip() or "not a certificate and its key"
        raise BadInput(f"cannot be used: {why}", where=f"{cert}, {key}", way_out="Give PEM files.") from exc
    return str(cert), str(key)


def _proxy(given: str) -> str:
    """The addresses or networks of proxies, read before anything starts: a name would never be recognised, and what
    everybody may claim would let everybody say who they are."""
    for one in given.split(",") if given else ():
        try:
            found = ipaddress.ip_network(one.strip())
        except ValueError as exc:
            raise BadInput(f"--proxy {one.strip()!r} is no address", way_out="For example --proxy 127.0.0.1.") from exc
        if found.prefixlen == 0:
            raise BadInput("--proxy is everybody here", way_out="Name the proxy's own address.")
    return given


@click.command(short_help="Make an invented demo database and serve it.")
@click.option("--port", type=click.IntRange(0, 65535), default=8077, show_default=True, help="0 takes any free port.")
@click.option(
    "--folder", type=click.Path(path_type=Path), default=Path("demo-data"), show_default=True, help="Where it is made."
)
@click.option("--no-serve", is_flag=True, help="Only make it.")
@click.pass_obj
def demo(bridge: Bridge, port: int, folder: Path, no_serve: bool) -> None:
    """Make an invented house with three systems and fifteen months of records, and serve it.

    The records end today; an earlier demo database is made anew each day. The files that it was imported from lie
    beside it, to try an import with.

    \b
    Examples:
      leadline demo
      leadline demo --no-serve --folder another-demo
    """
    path = make_demo(folder, bridge.clock)
    click.echo(f"Demo database: {path} (everything in it is invented)")
    if no_serve:
        click.echo(f"Look at it with: leadline --db {path} round")
        return
    from leadline.cli.demo_watch import Night

    night = Night(folder, str(path), bridge.clock)
    night.prepare()
    try:
        _serve(str(path), bridge.clock, _HOST, port, around=night.begin, mailroom=night, open_house=True)
    finally:
        night.end()


def make_demo(folder: Path, clock: Clock) -> Path:
    """The demo's files and database in `folder`; made anew when they are not of today."""
    from leadline.app import describe
    from leadline.cli.demo_watch import SYSTEM, before_tonight
    from leadline.invented import scenario
    from leadline.measures.moments import iso
    from leadline.model import kernel
    from leadline.wiring import compiled_folder, open_store

    now = clock.now()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as exc:
        raise Unreachable(
            f"cannot make the folder {folder}: {exc.strerror}", way_out="Choose another: --folder PATH"
        ) from exc
    path = folder / "demo.db"
    stamp = folder / "made-on"
    today = now.date().isoformat()
    if path.exists() and stamp.exists() and stamp.read_text() == today:
        return path
    for old in folder.glob("demo.db*"):
        old.unlink()
    cache = compiled_folder()
    if not kernel.is_cached(cache):
        click.echo("Compiling the simulator once for this machine (about ten seconds) …", err=True)
    made = scenario(now, cache)
    head, *rows = made.stream_csv.splitlines()
    hour_ago = iso((now - dt.timedelta(hours=1)).replace(microsecond=0))
    warm = next(r for r in reversed(rows) if r < hour_ago and f",{SYSTEM},temperature," in r)
    until = iso((now - before_tonight(float(warm.split(",")[3]))).replace(microsecond=0))
    streams = "\r\n".join([head, *(r for r in rows if r < until)]) + "\r\n"  # the last hours come in live
    for text, name in (
        (made.journal_csv, "journal.csv"),
        (streams, "streams.csv"),
        (made.wide_csv, "spreadsheet.csv"),
    ):
        (folder / name).write_text(text, encoding="utf-8")
    with open_store(str(path)) as store:
        for document in made.systems:
            system = describe.add(store, clock, document)
            (folder / f"{system.id}.toml").write_text(document, encoding="utf-8")
        _bring(store, clock, folder)
    stamp.write_text(today)
    return path


def _bring(store: Store, clock: Clock, folder: Path) -> None:
    """The demo goes through the same import as anybody's files."""
    from leadline.app import bring_in
    from leadline.formats.opening import Options, desk_for, read

    desk = desk_for(store, clock)
    reads = [read(folder / name, desk, Options()) for name in ("journal.csv", "streams.csv")]
    brought = bring_in.bring_in(store, reads, known=desk.known)
    if brought.refused:
        raise BadInput(f"the demo's own records do not import: {brought.rejected[0]}", way_out="Report this, please.")


def _serve(path: str, clock: Clock, host: str, port: int, names: tuple[str, ...] = (), *, with_watch: bool = True,
           guard: tuple[str, ...] = (), alone: bool = False, around: Callable[[Loop, str], None] | None = None,
           mailroom: Night | None = None, open_house: bool = False, outside: Outside | None = None,
           ) -> None:  # fmt: skip
    """Serve until Ctrl-C, with the watch beside it.

    Parameters
    ----------
    alone
        Whether the watch is what was asked for: then it is an error that another process watches already.
    around
        Called once with the running watch and the address, before the first request is answered.
    mailroom
        The demo's mailboxes.
    open_house
        Whether no account is asked for until one is made: on this machine alone.
    outside
        How it is reached from elsewhere.
    """
    import uvicorn

    from leadline.store.secrets import Secrets
    from leadline.web.doors import KeptDoors
    from leadline.web.patience import BehindProxy, Patience, more_files
    from leadline.web.site import build
    from leadline.wiring import make_signals, open_store

    more_files()
    listener = listen(host, port)
    shown = listener.getsockname()[1]
    outside = outside or Outside()
    scheme = "https" if outside.tls else "http"
    address = f"{scheme}://{'localhost' if host == _HOST else host}:{shown}"
    everywhere = host in ("0.0.0.0", "::") and not names
    hosts = ("*",) if everywhere else ("localhost", "127.0.0.1", "[::1]", host, *names)
    live, lock = _watch(path, clock, guard, alone) if with_watch else (None, None)
    config = uvicorn.Config(
        build(lambda: open_store(path), clock, hosts=hosts, live=live, signals_of=lambda s: make_signals(s, path),
              mailroom=mailroom, doors=KeptDoors(clock, open_while_empty=open_house), secrets=Secrets.beside(path)),
        log_level="warning", access_log=False, lifespan="on", server_header=False,
        proxy_headers=bool(outside.proxy), forwarded_allow_ips=outside.proxy or None,
        ssl_certfile=outside.tls[0] if outside.tls else None, ssl_keyfile=outside.tls[1] if outside.tls else None,
        ssl_ciphers=_CIPHERS, http=BehindProxy if outside.proxy else Patience, ws="none",
    )  # fmt: skip
    signal.signal(signal.SIGTERM, _interrupt)  # uvicorn hands the signal on when it has ended: then we end too
    try:
        if live is not None:
            live.start()
            if not live.started.wait(120.0):
                raise Unreachable(
                    "the watch did not start",
                    where=path,
                    way_out="Look at its disk; --no-watch serves the pages alone.",
                )
        click.echo(f"Leadline is at {address}  (Ctrl-C ends it)")
        if not open_house:
            _first_start(path, clock, address)
        if live is not None and around is not None:
            around(live, address)
        uvicorn.Server(config).run(sockets=[listener])
    finally:
        if live is not None:
            live.stop()
        if lock is not None:
            lock.leave()


def _first_start(path: str, clock: Clock, address: str) -> None:
    """Where no owner is yet: the address that makes one. Only whoever sees this terminal sees it."""
    from leadline.app import accounts
    from leadline.wiring import open_store

    with open_store(path) as store:
        if not store.writable:
            return
        secret = accounts.first_invitation(store, clock)
    if secret is not None:
        click.echo(f"First start. Make the owner's account, once, at {address}/come-in/{secret}")


def _interrupt(number: int, frame: object) -> None:
    raise KeyboardInterrupt


def serve_watch(path: str, clock: Clock, host: str, port: int, names: tuple[str, ...], guard: tuple[str, ...]) -> None:
    """The watch, and what it must be asked for: answers, posted points, its health."""
    _serve(path, clock, host, port, names, guard=guard, alone=True)


def _watch(path: str, clock: Clock, guard: tuple[str, ...], alone: bool) -> tuple[Loop | None, Lock | None]:
    """A watch over a store, not yet started; none when another process has one and it is only wanted beside pages."""
    from leadline.watch.lock import Lock
    from leadline.watch.loop import Loop
    from leadline.wiring import make_parts, open_store

    lock = Lock(Path(path))
    try:
        lock.take()
    except Unreachable as exc:
        if alone:
            raise
        click.echo(f"No watch here: {exc.what}.", err=True)
        return None, None
    live = Loop(
        Path(path), lambda: open_store(path), lambda store, queue: make_parts(store, queue, path, clock), clock, guard
    )
    return live, lock


def listen(host: str, port: int) -> socket.socket:
    """A socket that listens.

    Raises
    ------
    BadInput
        When the address is taken or not ours.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # the protocol must be said: asyncio sets TCP_NODELAY only then, and without it some pages wait 40 ms for an ACK
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
        listener.listen(128)  # before the address is said: whoever reads it may come at once
    except OSError as exc:
        listener.close()
        raise BadInput(
            f"cannot listen on {host}:{port}: {exc.strerror}",
            way_out="Choose another port: --port 0 takes any free one.",
        ) from exc
    return listener
