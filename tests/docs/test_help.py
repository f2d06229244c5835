"""The help of every command: it has examples, they are spelt as the command wants them, no option is left unsaid."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator

import click
import pytest

from leadline.cli.main import root

_BEFORE = {"--db", "--as-of"}  # options of the root command that take a value


def _commands(command: click.Command = root, path: tuple[str, ...] = ()) -> Iterator[tuple[str, click.Command]]:
    yield " ".join(("leadline", *path)), command
    if isinstance(command, click.Group):
        ctx = click.Context(command)
        for name in command.list_commands(ctx):
            yield from _commands(command.get_command(ctx, name), (*path, name))


_ALL = list(_commands())
_EXAMPLES = [
    (path, line.strip())
    for path, command in _ALL
    for line in (command.help or "").splitlines()
    if re.match(r"\s+leadline ", line)
]  # fmt: skip


@pytest.mark.door
@pytest.mark.parametrize(("path", "command"), _ALL, ids=[path for path, _ in _ALL])
def test_every_command_has_an_example_and_every_option_a_word(path, command):
    assert "Example" in (command.help or ""), f"{path} shows no example"
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help, f"{path} {option.name} says nothing of itself"


@pytest.mark.door
@pytest.mark.parametrize(("path", "example"), _EXAMPLES, ids=[example for _, example in _EXAMPLES])
def test_an_example_in_the_help_is_spelt_as_the_command_wants_it(path, example):
    words = shlex.split(example)
    if any(sign in words for sign in (">", ">>", "<")):
        words = words[: next(k for k, w in enumerate(words) if w in (">", ">>", "<"))]
    rest = words[1:]
    while rest and rest[0] in _BEFORE:
        rest = rest[2:]
    rest = [w for w in rest if w != "--json"]
    command, name = root, "leadline"
    while isinstance(command, click.Group) and rest and not rest[0].startswith("-"):  # a group with options of its own
        name, *rest = rest
        found = command.get_command(click.Context(command), name)
        assert found is not None, f"{path}: {example}: there is no {name}"
        command = found
    while any(w in _BEFORE for w in rest):  # they may stand anywhere
        k = next(k for k, w in enumerate(rest) if w in _BEFORE)
        rest = rest[:k] + rest[k + 2 :]
    context = command.make_context(name, rest)  # raises a usage error for what is not wanted
    context.close()
