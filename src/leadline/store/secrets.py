"""Secrets beside the store: passwords, addresses with tokens in them, the key of codes. Only the owner may read them.

They are no part of the store: no backup, export or log holds them.
"""

from __future__ import annotations

import json
import os
import secrets
import stat
from pathlib import Path

from leadline.measures.errors import Unreachable
from leadline.store.troubles import told

_KEY = "key of codes and links"


class Secrets:
    """A small file of names and secrets."""

    def __init__(self, path: Path) -> None:
        self.path = path

    @classmethod
    def beside(cls, store_path: str | Path) -> Secrets:
        """The secrets of the store at a path."""
        path = Path(store_path).expanduser().absolute()
        return cls(path.with_name(path.name + ".secrets"))

    def names(self) -> list[str]:
        """Names of the secrets that are there."""
        return sorted(k for k in self._all() if k != _KEY)

    def get(self, name: str) -> str | None:
        """A secret; None when nobody gave it."""
        return self._all().get(name)

    def put(self, name: str, value: str | None) -> None:
        """Keep a secret; None forgets it."""
        kept = self._all()
        kept.pop(name, None)
        if value is not None:
            kept[name] = value
        self._write(kept)

    def key(self) -> bytes:
        """The key from which codes and links are worked out; made when first asked for."""
        kept = self._all()
        if _KEY not in kept:
            self._write(kept | {_KEY: secrets.token_hex(32)})
            kept = self._all()
        return bytes.fromhex(kept[_KEY])

    def _all(self) -> dict[str, str]:
        with told(self.path):
            try:
                text = self.path.read_text(encoding="utf-8")
            except FileNotFoundError:
                return {}
            if os.name == "posix" and stat.S_IMODE(self.path.stat().st_mode) & 0o077:
                self.path.chmod(0o600)  # somebody copied it carelessly
        try:
            found = json.loads(text)
        except json.JSONDecodeError as exc:
            raise Unreachable(
                "the file of secrets is damaged", where=str(self.path),
                way_out="Remove it and give the secrets again with: leadline watch secret NAME",
            ) from exc  # fmt: skip
        return {str(k): str(v) for k, v in found.items()}

    def _write(self, kept: dict[str, str]) -> None:
        draft = self.path.with_name(f".{self.path.name}.{os.getpid()}.part")
        with told(self.path):
            handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(handle, "w", encoding="utf-8") as out:
                json.dump(kept, out)
                out.flush()
                os.fsync(out.fileno())
            os.replace(draft, self.path)
