"""What goes wrong between here and another machine, in plain words."""

from __future__ import annotations

import ssl
from pathlib import Path


class NoAuthority(OSError):
    """The file that says whom to trust is of no use; the text is for a person."""


def trust(ca_file: str) -> ssl.SSLContext:
    """Certificates are always checked: against the usual authorities, and one's own beside them.

    Raises
    ------
    NoAuthority
        When the file is missing or holds no certificate.
    """
    context = ssl.create_default_context()
    if ca_file:
        try:
            context.load_verify_locations(cafile=str(Path(ca_file).expanduser()))
        except ssl.SSLError as exc:
            raise NoAuthority(f"ca_file {ca_file} holds no certificate") from exc
        except OSError as exc:
            raise NoAuthority(f"ca_file {ca_file} cannot be read ({exc.strerror})") from exc
    return context


def words(exc: BaseException, place: str) -> str:
    """One line for a person: what is the matter with `place`, a host with its port."""
    import socket

    if isinstance(exc, NoAuthority):
        return str(exc)
    if isinstance(exc, UnicodeError):
        return f"{place} cannot be the name of a machine: check it in the standing orders"
    if isinstance(exc, ssl.SSLCertVerificationError):
        why = exc.verify_message or str(exc)
        return f"the certificate of {place} is not trusted ({why}): name its authority's file as ca_file"
    if isinstance(exc, ssl.SSLError):
        return f"no TLS with {place} ({exc.reason or exc}): is it the TLS port?"
    if isinstance(exc, socket.gaierror):
        return f"the name of {place} cannot be found: check the name and the network"
    if isinstance(exc, TimeoutError):
        return f"no answer from {place} in time"
    if isinstance(exc, ConnectionRefusedError):
        return f"nothing answers at {place}: is it running, and is that its port?"
    if isinstance(exc, (ConnectionResetError, ConnectionAbortedError, BrokenPipeError)):
        return f"{place} closed the connection: is it the right port, with TLS or without?"
    if isinstance(exc, OSError) and exc.errno is not None:
        return f"{place} cannot be reached ({exc.strerror or exc})"
    return f"{place} cannot be reached ({exc})"
