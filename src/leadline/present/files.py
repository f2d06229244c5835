"""Files of entries in words: how many, how large, what they are."""

from __future__ import annotations

from leadline.measures import figures

_KINDS = {
    "image/jpeg": "photograph", "image/png": "picture", "image/webp": "picture", "application/pdf": "PDF",
    "text/csv": "table (CSV)", "text/plain": "text",
}  # fmt: skip


def counted(pictures: int, files: int) -> str:
    """How many photographs and other files, such as "1 photograph, 2 files"; empty when there is none."""
    parts = [
        f"{n} {word}{'' if n == 1 else 's'}" for n, word in ((pictures, "photograph"), (files, "file")) if n
    ]  # fmt: skip
    return ", ".join(parts)


def size(n_bytes: int) -> str:
    """A size as one reads it, in decimal units."""
    if n_bytes < 1000:
        return f"{n_bytes} bytes"
    amount, unit = (n_bytes / 1e6, "MB") if n_bytes >= 999_500 else (n_bytes / 1e3, "kB")
    return f"{figures.number(amount, 1 if amount < 10 else 0)} {unit}"


def kind(media_type: str) -> str:
    """What a file is, in a word."""
    return _KINDS.get(media_type, "workbook (XLSX)")
