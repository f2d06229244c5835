"""`python -m leadline` and the `leadline` command."""

from __future__ import annotations

import sys


def main() -> int:
    """Run the command line; returns the exit status."""
    from leadline.cli.main import run

    return run(sys.argv[1:])


if __name__ == "__main__":
    sys.exit(main())
