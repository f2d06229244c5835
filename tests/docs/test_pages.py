"""Pages hold together: links lead somewhere, nothing of one machine is named, nothing drifts from the code."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest
from tests.docs import prose

_PAGES = prose.pages()
_ANYWHERE = re.compile(
    r"https?://|file://|/[w]ork/|/tmp/\w|/root/|/home/\w|\.\./shared|pypi|simple/index", re.IGNORECASE
)
# what a page may say of an address: this machine, and one on a local network
_ALLOWED = re.compile(r"https?://(localhost|127\.0\.0\.1|192\.168\.\d+\.\d+)\b")  # RFC 1918: nobody's in particular


def _heading_ids(text: str) -> set[str]:
    heads = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", h.lower()).replace(" ", "-") for h in heads}


@pytest.mark.law
@pytest.mark.parametrize("page", _PAGES, ids=prose.name)
def test_every_link_leads_to_something_that_is_kept(page):
    for target in prose.links(page):
        path, _, place = target.partition("#")
        there = (page.parent / path).resolve() if path else page
        assert there.exists(), f"{prose.name(page)} links to {target}, which is not there"
        assert there.is_relative_to(prose.ROOT), target
        if place:
            assert place in _heading_ids(there.read_text(encoding="utf-8")), target


@pytest.mark.law
@pytest.mark.parametrize("page", _PAGES, ids=prose.name)
def test_no_host_no_registry_and_no_path_of_a_machine_is_named(page):
    text = _ALLOWED.sub("", page.read_text(encoding="utf-8"))
    found = _ANYWHERE.search(text)
    assert found is None, f"{prose.name(page)} names {found[0]!r}"


@pytest.mark.door
def test_what_is_made_from_the_code_has_not_drifted():
    # in a process of its own: click keeps a command's help option as whoever asked first wanted it
    tool = prose.ROOT / "tools" / "write_docs.py"
    done = subprocess.run([sys.executable, tool, "--check"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.law
def test_every_page_of_the_docs_can_be_reached_from_the_readme():
    seen, queue = set(), [prose.ROOT / "README.md"]
    while queue:
        page = queue.pop()
        if page in seen or page.suffix != ".md":
            continue
        seen.add(page)
        queue += [(page.parent / t.partition("#")[0]).resolve() for t in prose.links(page) if not t.startswith("#")]
        if page.is_dir():
            continue
    docs = set((prose.ROOT / "docs").rglob("*.md"))
    assert docs <= seen, f"nobody links to {sorted(prose.name(p) for p in docs - seen)}"


@pytest.mark.law
def test_decisions_answer_the_five_points_and_are_listed():
    folder = prose.ROOT / "docs" / "decisions"
    listed = set(prose.links(folder / "README.md"))
    pages = sorted(folder.glob("[0-9]*.md"))
    assert [p.name[:4] for p in pages] == [f"{n:04}" for n in range(1, len(pages) + 1)]
    for page in pages:
        text = page.read_text(encoding="utf-8")
        assert page.name in listed
        assert re.match(r"# .+ {3,}(accepted|superseded by \d{4}), \d{4}-\d\d-\d\d\n", text), page.name
        for point in ("Question", "Options", "Chosen", "Price", "Checked by"):
            assert f"**{point}" in text, f"{page.name} has no {point}"


@pytest.mark.law
def test_a_check_that_a_decision_names_is_there():
    named = re.compile(r"`((?:tests|tools|bench)/[\w/]+\.py|python -m bench \w+)`")
    for page in (prose.ROOT / "docs" / "decisions").glob("[0-9]*.md"):
        for check in named.findall(page.read_text(encoding="utf-8")):
            path = f"bench/{check.split()[-1]}.py" if check.startswith("python") else check
            assert (prose.ROOT / path).is_file(), f"{page.name}: {check}"


@pytest.mark.law
def test_targets_that_pages_name_are_in_the_makefile():
    targets = set(re.findall(r"^([a-z-]+):", (prose.ROOT / "Makefile").read_text(), re.MULTILINE))
    for page in _PAGES:
        named = set(re.findall(r"(?:`|\$ )make ([a-z][a-z-]*)", page.read_text(encoding="utf-8")))
        assert named <= targets, f"{prose.name(page)}: {named - targets}"
