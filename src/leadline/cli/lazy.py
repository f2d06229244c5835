"""A group of commands, each loaded only when it is called: listing them loads nothing."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import ClassVar

import click

Table = Mapping[str, tuple[str, str, str]]  # command: module, name in it, one line of help


class LazyGroup(click.Group):
    """A group over a table of its commands; help stands in the table, so that listing loads nothing."""

    table: ClassVar[Table] = {}

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        found = self.table.get(cmd_name)
        if found is None:
            return None
        command: click.Command = getattr(importlib.import_module(f"leadline.cli.{found[0]}"), found[1])
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, found[2]) for name, found in self.table.items()])
