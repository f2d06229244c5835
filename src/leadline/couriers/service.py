"""Any service that Apprise knows an address for: push, webhook, chat, short messages."""

from __future__ import annotations

import contextvars
import logging
import re
import threading
import urllib.parse
import warnings
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from leadline.app.ports import Outgoing, Receipt, Undelivered
from leadline.couriers import attempt
from leadline.system.orders import ServicePath

if TYPE_CHECKING:
    from apprise import NotifyBase

_KIND = {"urgent": "failure", "high": "failure", "medium": "warning"}
_STATUS = re.compile(r"\berror\s*[=:]?\s*(\d{3})\b", re.IGNORECASE)
_ADDRESS = re.compile(r"\b[a-z][a-z0-9+.-]*://\S+", re.IGNORECASE)
_AGAIN = (408, 425, 429)  # refusals that time may mend: too slow, too early, too many


class Service:
    """A courier for one service path. `address` is the plain one; it holds tokens, so that nobody is shown it."""

    def __init__(self, path: ServicePath, address: str, *, limit_s: float = attempt.LIMIT_S) -> None:
        self.path = path
        self.limit_s = limit_s
        self._address = address.strip()
        self._where = f"path {path.id}"

    def send(self, message: Outgoing) -> Receipt:
        """Hand the message to the service, once.

        Raises
        ------
        Undelivered
            When Apprise cannot read the address, or the service did not take the message.
        """
        return attempt.within(self.limit_s, lambda: self._hand_over(message), self._where)

    def _hand_over(self, message: Outgoing) -> Receipt:
        heard = _listen()
        import apprise

        asset = apprise.AppriseAsset(
            app_id="Leadline", app_desc="Leadline's watch", app_url="", image_url_mask="", image_url_logo="",
            async_mode=False,
        )  # fmt: skip
        # a post that is sent elsewhere would come back as a page that was fetched, and count as taken
        asset.http_redirects = False
        title = attempt.one_line(message.subject, 150)
        try:
            service = apprise.Apprise.instantiate(self._address, asset=asset, suppress_exceptions=True)
            if service is None or isinstance(service, dict):
                raise self._failed(
                    "Apprise cannot read the address", permanent=True,
                    way_out="Give it anew, with its service in front: leadline watch secret NAME",
                )  # fmt: skip
            if not service.verify_certificate:
                raise self._failed(
                    "the address switches the check of certificates off", permanent=True,
                    way_out="Take verify=no out of it.",
                )  # fmt: skip
            caller = apprise.Apprise(asset=asset)
            caller.add(service)
            taken = bool(
                caller.notify(
                    body=attempt.whole_text(message).strip() or title or "(no words)",  # without any it sends nothing
                    title=title,
                    notify_type=apprise.NotifyType(_KIND.get(message.priority, "info")),
                    body_format=apprise.NotifyFormat.TEXT,
                )
            )
        except Undelivered:
            raise
        except (
            Exception
        ) as exc:  # over a hundred services, each with errors of its own; its words may quote the address
            raise self._failed(f"Apprise stumbled ({type(exc).__name__})") from None
        if not taken:
            raise self._refused(heard, _secrets(self._address, service))
        return Receipt("handed-over", f"{service.service_name or service.schema} took it")

    def _refused(self, heard: _Heard, secrets: list[str]) -> Undelivered:
        reason = next((attempt.said(_ADDRESS.sub("***", w), secrets) for w in reversed(heard.warnings)), "")
        if heard.untrusted:
            return self._failed(
                "the service's certificate is not to be trusted",
                permanent=True,
                way_out="Mend it, or use another path.",
            )
        status = next((int(m[1]) for w in reversed(heard.warnings) if (m := _STATUS.search(w))), 0)
        permanent = (400 <= status < 500 and status not in _AGAIN) or 300 <= status < 400
        return self._failed(
            f"the service did not take it: {reason}" if reason else "the service did not take it",
            permanent=permanent,
            way_out="Check the address: leadline watch secret NAME" if permanent else "",
        )

    def _failed(self, what: str, *, permanent: bool = False, way_out: str = "") -> Undelivered:
        return Undelivered(what, permanent=permanent, where=self._where, way_out=way_out)


# -- what Apprise says of itself -------------------------------------------------------------------------


@dataclass
class _Heard:
    warnings: list[str] = field(default_factory=list)
    untrusted: bool = False


_hearing: contextvars.ContextVar[_Heard | None] = contextvars.ContextVar("leadline_apprise", default=None)


class _Ear(logging.Filter):
    """Apprise's log, kept for whoever sends; nothing of it goes on, for its lines quote addresses and messages.

    Apprise's own LogCapture would also catch what other threads say of other paths.
    """

    def filter(self, record: logging.LogRecord) -> bool:
        heard = _hearing.get()
        if heard is not None:
            words = record.getMessage()
            heard.untrusted = heard.untrusted or "CERTIFICATE_VERIFY_FAILED" in words
            if record.levelno >= logging.WARNING and len(heard.warnings) < 20:
                heard.warnings.append(words[:2000])
        return False


_ear = _Ear()
_ear_lock = threading.Lock()


def _listen() -> _Heard:
    """Hear what Apprise says in this thread and in those it starts; nothing of it goes to anybody's log."""
    logger = logging.getLogger("apprise")
    with _ear_lock:
        if _ear not in logger.filters:
            logger.setLevel(logging.DEBUG)  # the reason for a broken connection stands in its debugging lines alone
            logger.addFilter(_ear)
            logger.propagate = False
            logging.getLogger("urllib3").setLevel(logging.ERROR)  # what it sends with quotes addresses too
            with warnings.catch_warnings():  # one of its services uses a module that Python is about to drop
                warnings.simplefilter("ignore", DeprecationWarning)
                import apprise

                apprise.Apprise.instantiate("json://localhost")  # loads all services
    heard = _Heard()
    _hearing.set(heard)
    return heard


def _secrets(address: str, service: NotifyBase) -> list[str]:
    """All of an address that must not be shown: whole, and each of its parts but the service's name."""
    _, _, rest = address.partition("://")
    found = {address, rest, service.host, service.user, service.password, service.fullpath}
    for text in (rest, urllib.parse.unquote(rest)):
        found |= set(re.split(r"[/?&=@:,;#\s]", text))
    return [part for part in found if isinstance(part, str) and len(part) > 2]
