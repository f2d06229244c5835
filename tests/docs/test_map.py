"""The map shows the tree that is there, by the floors that are checked."""

from __future__ import annotations

import pytest
from tests.docs import prose
from tools import write_docs

MAP = (prose.ROOT / "docs" / "map.md").read_text(encoding="utf-8")


@pytest.mark.law
def test_every_module_stands_in_the_map_under_its_first_line():
    for module in write_docs.SOURCE.rglob("*.py"):
        if module.name in ("__init__.py", "__main__.py"):
            continue
        assert f"`{module.relative_to(write_docs.SOURCE).name}`" in MAP or module.name in MAP, module
        said = write_docs.first_line(module)
        assert len(said) > 10, f"{module} does not say what it is"
        assert said.replace("|", "\\|") in MAP, f"{module.name}: run `make docs`"


@pytest.mark.law
def test_packages_stand_on_the_floors_of_the_contract_from_the_top():
    standing = [p for floor in write_docs.floors() for p in floor if not p.startswith("(")]
    places = [
        MAP.index(f"**`{p}/`**") if (write_docs.SOURCE / p).is_dir() else MAP.index(f"`{p}.py`") for p in standing
    ]
    assert places == sorted(places)
    there = {p.name for p in write_docs.SOURCE.iterdir() if p.is_dir() and (p / "__init__.py").exists()}
    assert there <= set(standing), "a package stands on no floor"


@pytest.mark.law
def test_limits_come_first():
    assert MAP.index("Limits first") < MAP.index("## Floors") < MAP.index("## The tree")


@pytest.mark.law
def test_a_drifted_page_is_noticed(tmp_path, monkeypatch, capsys):
    page = tmp_path / "docs" / "page.md"
    page.parent.mkdir()
    page.write_text("# P\n<!-- made from the code: foods -->\nold\n<!-- end -->\n", encoding="utf-8")
    monkeypatch.setattr(write_docs, "ROOT", tmp_path)
    monkeypatch.setattr("sys.argv", ["write_docs.py", "--check"])
    assert write_docs.main() == 1
    assert "docs/page.md has drifted" in capsys.readouterr().out.replace(": ", " ")
    monkeypatch.setattr("sys.argv", ["write_docs.py"])
    assert write_docs.main() == 0
    assert "frozen-mysid" in page.read_text(encoding="utf-8")
    monkeypatch.setattr("sys.argv", ["write_docs.py", "--check"])
    assert write_docs.main() == 0
