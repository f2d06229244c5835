"""Commands whose arguments are amounts."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

import click


class Number(click.ParamType[float]):
    """A number as people type it: 8.1, 8,1, −3."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        from leadline.measures.errors import BadInput
        from leadline.measures.units import parse_number

        if isinstance(value, (int, float)):
            return float(value)
        try:
            return parse_number(value)
        except BadInput as exc:
            self.fail(exc.line(), param, ctx)


NUMBER = Number()


def pairs(words: Iterable[str], example: str) -> dict[str, str]:
    """What is said as KEY=VALUE, by its keys.

    Raises
    ------
    BadInput
        For a word of another form, with an example.
    """
    from leadline.measures.errors import BadInput

    found = {}
    for text in words:
        name, sign, value = text.partition("=")
        if not sign or not name.strip():
            raise BadInput(f"{text!r} is not of the form KEY=VALUE", way_out=f"For example {example}.")
        found[name.strip()] = value
    return found


class Amounts(click.Command):
    """Takes -50 for a number: no option here begins with a digit."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        told = ["", *args]
        minus = [
            f"−{word[1:]}" if re.match(r"-[\d.,]", word) and not before.startswith("--") else word
            for before, word in zip(told, args, strict=False)
        ]
        return super().parse_args(ctx, minus)
