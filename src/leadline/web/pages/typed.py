"""What a keeper typed that could not be used: nothing of it is lost."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from urllib.parse import urlencode

from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from leadline.measures.errors import BadInput


@dataclass(frozen=True, slots=True)
class Typed:
    """A form that could not be used: which it was, what was typed in it, and the line that says why."""

    form: str
    error: str
    values: Mapping[str, str] = field(default_factory=dict)
    ticked: frozenset[tuple[str, str]] = frozenset()  # boxes: (name, value)
    warned: tuple[str, ...] = ()  # what must be read before it is sent again

    @property
    def read(self) -> str:
        """The mark of what must be read."""
        return read_mark(self.warned)

    def of(self, form: str, **same: str) -> bool:
        """Whether it is this very form: the one with these values in its hidden fields."""
        return self.form == form and all(self.values.get(k) == v for k, v in same.items())


def read_mark(lines: Sequence[str]) -> str:
    """A short mark of some lines: what was read of one thing is not read of another."""
    return hashlib.blake2b("\n".join(lines).encode(), digest_size=6).hexdigest()


def text(form: FormData, name: str, most: int = 300) -> str:
    """One field as typed, within reason."""
    value = form.get(name, "")
    return value.strip()[:most] if isinstance(value, str) else ""


def refused(form: str, sent: FormData, exc: BadInput, warned: Sequence[str] = ()) -> Typed:
    """The form as it was typed, with the error's line."""
    line = exc.line()
    ticked = frozenset((k, v) for k, v in sent.multi_items() if isinstance(v, str))
    return Typed(form, f"{line[:1].upper()}{line[1:]}", {k: text(sent, k, 2000) for k in sent}, ticked, tuple(warned))


def back(to: str, anchor: str = "", **said: str) -> Response:
    """To a page after a write, which says what was done: by the entry's id, or a word for it."""
    query = urlencode({k: v for k, v in said.items() if v})
    mark = "&" if "?" in to else "?"
    return RedirectResponse(f"{to}{f'{mark}{query}' if query else ''}{f'#{anchor}' if anchor else ''}", 303)
