"""`leadline completion`: what a shell needs to complete commands and options."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class

from leadline.measures.errors import BadInput


@click.command(short_help="Print the lines that make a shell complete leadline.")
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> None:
    """Print the completion script of SHELL.

    \b
    Examples:
      leadline completion bash >> ~/.bashrc
      leadline completion fish > ~/.config/fish/completions/leadline.fish
    """
    from leadline.cli.main import root

    found = get_completion_class(shell)
    if found is None:
        raise BadInput(f"no completion for {shell}", way_out="Use bash, zsh or fish.")
    click.echo(found(root, {}, "leadline", "_LEADLINE_COMPLETE").source())
