"""Plain questions over HTTP: a sign of life to a dead-man address, and the health of another watch."""

from __future__ import annotations

import http.client
import json
from dataclasses import dataclass
from typing import Any
from urllib.parse import SplitResult, urlsplit

from leadline.app.ports import Undelivered
from leadline.couriers import attempt

_HEALTH_LIMIT = 65_536  # bytes
_ILL = 503  # how a watch answers that is not well


def ping(address: str, timeout_s: float, *, ca_file: str = "") -> None:
    """Tell a dead-man address that we live. Only its host is ever named: the rest of it is a secret.

    Raises
    ------
    Undelivered
        When it did not answer with success.
    """
    _succeeded(_asked(address, "", timeout_s, ca_file))


def health(address: str, timeout_s: float, *, ca_file: str = "") -> dict[str, Any]:
    """What the watch at an address says of itself; one that is not well says so in its `ok`.

    Raises
    ------
    Undelivered
        When it did not answer with success, or with anything but one JSON object of reasonable size.
    """
    answer = _asked(address, "/health", timeout_s, ca_file)
    if answer.status != _ILL:
        _succeeded(answer)
    if len(answer.content) > _HEALTH_LIMIT:
        raise Undelivered(f"its answer is longer than {_HEALTH_LIMIT} bytes", permanent=False, where=answer.where)
    try:
        said = json.loads(answer.content.decode("utf-8"))
    except (ValueError, RecursionError):
        said = None
    if answer.status == _ILL and not (isinstance(said, dict) and said.get("ok") is False):
        _succeeded(answer)  # it is not the watch that says it is ill
    if not isinstance(said, dict):
        raise Undelivered(
            "it does not answer as a watch does", permanent=False, where=answer.where,
            way_out="Check the address and the port.",
        )  # fmt: skip
    return said


@dataclass(frozen=True, slots=True)
class _Answer:
    status: int
    reason: str
    content: bytes  # its beginning
    where: str


def _asked(address: str, more: str, timeout_s: float, ca_file: str) -> _Answer:
    parts, port = _read(address)
    host = parts.hostname or ""
    place = f"{host}:{port}"
    where = f"{parts.scheme}://{place}"
    target = (parts.path.rstrip("/") + more if more else parts.path) or "/"
    if parts.query and not more:
        target += f"?{parts.query}"

    def ask() -> _Answer:
        connection = (
            http.client.HTTPSConnection(host, port, timeout=timeout_s, context=attempt.tls_context(ca_file, where))
            if parts.scheme == "https"
            else http.client.HTTPConnection(host, port, timeout=timeout_s)
        )
        try:
            connection.request("GET", target, headers={"User-Agent": "leadline", "Connection": "close"})
            answer = connection.getresponse()
            return _Answer(answer.status, attempt.one_line(answer.reason, 60), answer.read(_HEALTH_LIMIT + 1), where)
        except OSError as exc:
            raise attempt.network_trouble(exc, place, where) from None
        except (http.client.InvalidURL, UnicodeError):
            raise _unusable() from None
        except http.client.HTTPException:
            raise Undelivered("its answer is no whole answer of HTTP", permanent=False, where=where) from None
        finally:
            connection.close()

    # one answer may come in many small pieces, each within its own limit
    return attempt.within(timeout_s + 0.5, ask, where)


def _succeeded(answer: _Answer) -> None:
    status = answer.status
    if 200 <= status < 300:
        return
    if 300 <= status < 400:
        raise Undelivered(
            f"it sends us elsewhere ({status})", permanent=True, where=answer.where,
            way_out="Give the address it names.",
        )  # fmt: skip
    raise Undelivered(
        f"it answered {status} {answer.reason}".rstrip(), where=answer.where,
        permanent=400 <= status < 500 and status not in (408, 425, 429),
        way_out="Check the address." if status in (401, 403, 404, 410) else "",
    )  # fmt: skip


def _read(address: str) -> tuple[SplitResult, int]:
    try:
        parts = urlsplit(address.strip())
        port = parts.port or (443 if parts.scheme == "https" else 80)
    except ValueError:
        raise attempt.bare(_unusable()) from None
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.username or parts.password:
        raise _unusable()
    return parts, port


def _unusable() -> Undelivered:
    return Undelivered(
        "an address that is to be asked cannot be used", permanent=True,
        way_out="Write it like https://host/path, in plain letters and without a name and a password.",
    )  # fmt: skip
