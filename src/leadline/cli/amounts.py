"""Commands whose arguments are amounts."""

from __future__ import annotations

import re
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


class Amounts(click.Command):
    """Takes -50 for a number: no option here begins with a digit."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        told = ["", *args]
        minus = [
            f"−{word[1:]}" if re.match(r"-[\d.,]", word) and not before.startswith("--") else word
            for before, word in zip(told, args, strict=False)
        ]
        return super().parse_args(ctx, minus)
