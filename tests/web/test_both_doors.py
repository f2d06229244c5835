"""Whatever a page or a program can do, the prompt can do: both call the same functions of leadline.app.

The use cases are found by reading the code: every name of leadline.app that a module of leadline.web imports or calls.
"""

from __future__ import annotations

import ast
import inspect
import pathlib
from collections import defaultdict

import click
import pytest

import leadline
from leadline.cli.main import root
from leadline.web import api, use

SOURCE = pathlib.Path(leadline.__file__).parent

# what the web calls and the prompt does not: no use case of its own, or the same under another name
NOT_AT_THE_PROMPT = {
    "answers.journal.page": "a page of lines, which the prompt prints one by one",
    "answers.watch.alarms": "a list of lines, which the prompt prints one by one",
    "accounts.come_in": "an invitation taken up in a browser; the prompt makes the account itself by accounts.make",
    "accounts.happened": "what happened at the door; the prompt reads it",
    "accounts.invitation": "what an invitation is for, before it is taken up",
    "accounts.nobody_yet": "the first start of the pages; the prompt's is accounts.first_invitation",
    "accounts.of_program": "who knocks; nobody knocks at the prompt",
    "accounts.of_session": "who knocks; nobody knocks at the prompt",
    "accounts.open_session": "a browser's session; the prompt has none", "accounts.opens": "who knocks",
    "accounts.taken_up": "an invitation taken up in a browser",
    "accounts.shared": "a shared page is opened by its link",
    "attachments.counts": "counted beside each entry; the prompt lists them by attachments.of",
    "bring_in.zone_of": "the zone of a day on a page",
    "calendar_feed.find": "a feed is fetched by its address", "calendar_feed.reach": "the same",
    "calendar_feed.read": "the same; the prompt prints it by week --ics",
    "due.people": "the choices of a form; at the prompt they are typed",
    "passkeys.added": "a device's answer, given in a browser", "passkeys.begin_adding": "the same",
    "passkeys.begin_opening": "the same", "passkeys.challenge_in": "the same", "passkeys.opened": "the same",
    "read_journal.last_of": "what a form offers; at the prompt it is typed",
    "read_journal.lines": "ids that belong together, for counting; the prompt shows them by read_journal.whole",
    "set_up.key_of": "the name of a part on a page", "set_up.kind_of": "the fields of a form",
    "set_up.parts": "the description as fields of forms; the prompt prints it whole",
    "enquire.reckoned": "what a drawn window rests on; the prompt asks survey.survey for all of it",
    "orders_set_up.kind_of": "the fields of a form",
    "orders_set_up.shown": "the orders as fields; the prompt prints them whole",
    "parts_of.key_of": "the name of a part on a page",
    "enquire.courses": "the small drawings under the round; the prompt draws by survey.survey",
    "oversee.called": "the words of a headline; the prompt says the alarm's name",
    "oversee.standing": "counted for a monitor; the prompt lists them by oversee.alarms",
    "oversee.subjects": "the choices of a form; at the prompt they are typed",
    "oversee.works_going_on": "all systems at once; the prompt says one by stand_orders.work_going_on",
    "quarantine.dips_for": "the choices of a form; at the prompt they are typed",
    "read_journal.counts": "counted for a monitor; the prompt says it of a backup",
    "read_journal.last_amounts": "what a form offers; at the prompt it is typed",
    "read_journal.subjects": "what a form offers; at the prompt it is typed",
    "record.once": "a mark against a request that was sent twice; the prompt sends once",
    "record.understood": "what was said while it was logged, again for the page after it; the prompt says it at once",
    "record.sent": "the mark of a form that was sent twice; the prompt sends once",
    "stand_orders.names_of": "a name for a headline",
    "stand_orders.token_name": "who knocks; nobody knocks at the prompt",
    "stock.pointing": "a link from a sign to its trace; at the prompt the pest is typed",
}  # fmt: skip
ABOUT_ITSELF = {"openapi", "metrics", "health"}  # of the server, which the prompt does not ask


def used(folder: str) -> dict[str, set[str]]:
    """Names of leadline.app that the modules of a package use, each with where."""
    found: dict[str, set[str]] = defaultdict(set)
    for path in sorted((SOURCE / folder).rglob("*.py")):
        tree, modules, where = ast.parse(path.read_text()), {}, path.relative_to(SOURCE).as_posix()
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                assert not [a for a in node.names if a.name.startswith("leadline.app")], (
                    where
                )  # seen below only as from
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("leadline.app"):
                assert not [a for a in node.names if a.name == "*"], where
                for a in node.names:
                    name = f"{node.module}.{a.name}".removeprefix("leadline.app.")
                    place = SOURCE / "app" / name.replace(".", "/")
                    if place.is_dir() or place.with_suffix(".py").exists():
                        modules[a.asname or a.name] = name
                    elif a.name[:1].islower():  # a function; types and constants are no use cases
                        found[name].add(where)
        for node in ast.walk(tree):
            if not isinstance(node, ast.Attribute) or not isinstance(node.value, ast.Name):
                continue
            if node.value.id in modules and node.attr[:1].islower():
                found[f"{modules[node.value.id]}.{node.attr}"].add(where)
    return found


WEB, PROMPT = used("web"), used("cli")


@pytest.mark.parametrize("name", sorted(WEB))
def test_what_the_web_calls_the_prompt_calls_too(name):
    assert name in PROMPT or name in NOT_AT_THE_PROMPT, f"only at a page: {name}, called by {sorted(WEB[name])}"


def test_the_exceptions_are_all_called_still():
    assert set(NOT_AT_THE_PROMPT) <= set(WEB)


def test_reading_the_code_finds_what_pages_do():
    """That the reading is no empty net: these are known to be there, and these known not to be."""
    assert {"record.log", "record.done", "oversee.figures", "stock_log.arrive", "describe.add", "trace.forward"} <= set(
        WEB
    )
    assert {"web/use.py", "web/api/journal.py", "web/pages/journal.py"} <= WEB["record.log"]
    assert "record.no_such" not in WEB
    assert len(WEB) > 60


def test_the_use_cases_that_are_handed_in_are_those_of_the_app():
    """`web.use` binds by attribute; each must be read above, or a page could call what nobody counted."""
    bound = [n for n in ast.walk(ast.parse(inspect.getsource(use.app_use))) if isinstance(n, ast.keyword)]
    assert len(bound) == 9
    for keyword in bound:
        assert ast.unparse(keyword.value) in WEB


def command(words: str) -> click.Command:
    """A command of the prompt by its words."""
    found: click.Command = root
    for word in words.split():
        assert isinstance(found, click.Group), words
        below = found.get_command(click.Context(found), word)
        assert below is not None, f"the prompt has no {words}"
        found = below
    return found


@pytest.mark.parametrize("o", api.OPERATIONS, ids=lambda o: o.id)
def test_every_operation_has_its_command(o):
    if o.id in ABOUT_ITSELF:
        assert o.prompt == ""
        return
    assert o.says
    assert not isinstance(command(o.prompt), click.Group)
