"""The root command: its options, its commands (each loaded only when asked for), and how errors are said."""

from __future__ import annotations

import datetime as dt
import difflib
import os
import re
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from leadline import __version__
from leadline.cli.lazy import LazyGroup
from leadline.measures.errors import BadInput, LeadlineError, Unreachable
from leadline.measures.moments import FixedClock, parse

if TYPE_CHECKING:
    from leadline.app.ports import Store
    from leadline.measures.moments import Clock

# command: (module, name in it, one line of help); help is kept here so that listing loads nothing
COMMANDS: dict[str, tuple[str, str, str]] = {
    "demo": ("serving", "demo", "Make an invented demo database and serve it."),
    "serve": ("serving", "serve", "Serve the pages and run the watch."),
    "system": ("systems", "system", "Add, show, list and edit systems."),
    "log": ("entries", "log", "Write one entry by hand."),
    "entry": ("entries", "entry", "Show, correct, withdraw or confirm an entry; keep files with it."),
    "journal": ("journal", "journal", "Read and search what was written."),
    "import": ("files", "import_", "Bring in journals, streams and spreadsheets."),
    "export": ("files", "export", "Write the journal or the streams as CSV."),
    "parked": ("files", "parked", "Rows with an impossible time, kept for you to judge."),
    "backup": ("files", "backup", "Copy the store, safely while it is in use."),
    "restore": ("files", "restore", "Put a backup in the store's place, once it is proved to open."),
    "estimate": ("estimates", "estimate", "What every quantity is now, and how sure that is."),
    "course": ("courses", "course", "A quantity's course through any window: table, data, CSV or drawing."),
    "round": ("rounds", "round_", "Today's ranked list: what deserves your minutes."),
    "week": ("week", "week", "What falls due in the next days, day by day."),
    "calendar": ("calendar", "calendar", "Addresses at which a calendar reads what is due."),
    "simulate": ("simulate", "simulate", "What a system will do: an ensemble, as it is or with a scenario."),
    "account": ("accounts", "account", "Who may come in to the pages: accounts, invitations, tokens."),
    "livestock": ("livestock", "livestock", "Who lives where; arrivals, losses, checks, the catalogue."),
    "plan": ("plans", "plan", "Quarantine and fish-free time, from life cycles and temperature."),
    "trace": ("tracing", "trace", "What touched what: where a pest can be, which arrival brought it."),
    "watch": ("watching", "watch", "Watch the streams: alarms, who is told, proof that it arrives."),
    "learn": ("learning", "learn", "Fit the simulator to a system's own records."),
    "bench": ("bench", "bench", "One-off calculations, each with its source and its caution."),
    "completion": ("completion", "completion", "Print the lines that make a shell complete leadline."),
}
_ASKING = frozenset(
    {
        "estimate",
        "course",
        "round",
        "simulate",
        "learn",
        "watch",
        "export",
        "parked",
        "backup",
        "entry",
        "log",
        "journal",
        "livestock",
        "plan",
        "trace",
        "week",
        "calendar",
    }
)  # these make no store
_EVERYWHERE = {"--db": True, "--as-of": True, "--json": False}  # option: takes a value; allowed anywhere


class Bridge:
    """What the root command hands to every command."""

    def __init__(self, db: str | None, as_json: bool, as_of: str | None, command: str = "") -> None:
        from leadline.wiring import SystemClock, store_path

        self.json = as_json
        self.path = store_path(db)
        self._asks, self._given = command in _ASKING, bool(db)
        self._as_of = as_of
        if as_of:
            parse(as_of)  # a time that cannot be read is said before anything is opened
        self.clock: Clock = _test_clock() or SystemClock()
        self._store: Store | None = None

    def store(self) -> Store:
        """The store, opened when first asked for."""
        if self._store is None:
            from leadline.wiring import open_store

            named = self._given or bool(os.environ.get("LEADLINE_DB"))
            if self._asks and named and not os.path.exists(self.path):
                raise Unreachable("there is no store", where=self.path, way_out="leadline system add FILE makes one.")
            self._store = open_store(self.path, self.clock)  # type: ignore[arg-type]
        return self._store

    def as_of(self, system: str | None = None) -> dt.datetime | None:
        """The moment asked for with --as-of; without an offset it is in the system's own time zone."""
        if not self._as_of:
            return None
        from leadline.app import describe
        from leadline.measures.moments import zone

        store = self.store()
        ident = system or next(iter(store.systems()), None)
        local = zone(describe.load(store, ident).time_zone) if ident else dt.UTC
        moment = parse(self._as_of, local)
        if moment > self.clock.now() + dt.timedelta(days=1):
            raise BadInput(f"--as-of {self._as_of} lies in the future", way_out="Nothing is known of it yet.")
        return moment

    def close(self) -> None:
        if self._store is not None:
            self._store.close()


def _test_clock() -> FixedClock | None:
    """LEADLINE_NOW sets the clock: for rehearsals and tests of whole commands."""
    said = os.environ.get("LEADLINE_NOW", "")
    return FixedClock(parse(said)) if said else None


class Root(LazyGroup):
    """All commands; it offers near misses of a name."""

    table = COMMANDS

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            near = difflib.get_close_matches(args[0], COMMANDS, n=2)
            hint = f" Did you mean {' or '.join(near)}?" if near else " See leadline --help."
            raise click.UsageError(f"no command {args[0]!r}.{hint}", ctx)
        return super().resolve_command(ctx, args)


@click.group(cls=Root, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.option("--db", metavar="PATH", help="The store; else LEADLINE_DB, else one file in the data folder.")
@click.option("--json", "as_json", is_flag=True, help="Machine output on stdout.")
@click.option(
    "--as-of", metavar="TIME", help="Answer as if it were that time (local, or with an offset); nothing later is used."
)
@click.version_option(__version__, prog_name="leadline")
@click.pass_context
def root(ctx: click.Context, db: str | None, as_json: bool, as_of: str | None) -> None:
    """Leadline reckons every quantity of a closed seawater system between tests, and ranks your next minutes.

    It advises; it never switches equipment. --db, --json and --as-of may stand anywhere on the line.

    \b
    Examples:
      leadline demo
      leadline system add north-room.toml
      leadline import journal.csv
      leadline round north-room --minutes 10
      leadline estimate north-room --json
    """
    ctx.obj = Bridge(db, as_json, as_of, ctx.invoked_subcommand or "")
    ctx.call_on_close(ctx.obj.close)


def _to_front(args: Sequence[str]) -> list[str]:
    """Move the options that every command knows to the front, so that they may stand anywhere."""
    front: list[str] = []
    rest: list[str] = []
    queue = list(args)
    while queue:
        word = queue.pop(0)
        if word == "--":
            rest += [word, *queue]
            break
        name, sign, _ = word.partition("=")
        if name in _EVERYWHERE and (sign or not _EVERYWHERE[name]):
            front.append(word)
        elif name in _EVERYWHERE and queue:
            front += [word, queue.pop(0)]
        else:
            rest.append(word)
    return front + rest


def _one_line(exc: click.ClickException) -> str:
    """What was wrong with the words of a command, in one line that says where its help stands."""
    ctx = getattr(exc, "ctx", None)
    command = ctx.command_path if ctx is not None else "leadline"
    said = re.sub(r"\s+", " ", exc.format_message()).strip().rstrip(".")
    said = re.sub(r" is not a valid (float|integer)( range)?", " is no number", said)
    said = said[:1].lower() + said[1:]
    said = re.sub(r"\. \((Did you mean [^()]*\?)\)$", r". \1", said)
    help_line = "" if "--help" in said else f" See {command} --help."
    return f"{command}: {said}{'' if said.endswith('?') else '.'}{help_line}"


def run(args: Sequence[str]) -> int:
    """Run one command; returns the exit status of the contract (0 done, 1 something is wrong, 2 input, 3 store)."""
    try:
        code = root.main(args=_to_front(args), prog_name="leadline", standalone_mode=False)
        return code if isinstance(code, int) else 0
    except click.exceptions.Exit as exc:
        return exc.exit_code
    except click.exceptions.NoArgsIsHelpError as exc:
        exc.show()  # a group alone is asked for its help
        return 2
    except click.ClickException as exc:
        click.echo(_one_line(exc), err=True)
        return 2
    except click.Abort:
        click.echo("Stopped.", err=True)
        return 130
    except LeadlineError as exc:
        click.echo(f"leadline: {exc.line()}", err=True)
        return exc.exit_code
    except BrokenPipeError:  # the reader of a pipe went away: nothing is wrong
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        click.echo("Stopped.", err=True)
        return 130
