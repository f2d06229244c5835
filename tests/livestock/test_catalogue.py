"""The catalogue: facts as published, an origin on each, no dose anywhere, the keeper's own entries first."""

from __future__ import annotations

import re

import pytest

from leadline.app import catalogue
from leadline.app.catalogue import packaged, read
from leadline.livestock.kinds import Mark
from leadline.measures.errors import BadInput, UnknownName
from leadline.present.stock import entry_lines, fact_said, origin

# Typed here by hand from what was read in the papers (abstracts): entry, fact, low, typical, high, unit, temperature.
# None: not stated. Barton et al. 2019 (Frontiers in Marine Science 6:524); Bondad-Reantaso et al. 1995 (Fish
# Pathology); Brazenor and Hutson 2015 (Parasitology Research 114:1875); Yiu and Qiu 2022 (Zoological Studies 61:59);
# Shannon and Achatz 2007 (Zootaxa 1525:1); Smith and Schwarz 2009 (VCE 600-200); Buston and García 2007 (J Fish
# Biology 70:1710); Coral Trait Database 1.1.1 (Madin et al. 2016), summarised.
PUBLISHED = [
    ("acropora-flatworm", "hatch-mean", None, 11, None, "d", (27, 27)),
    ("acropora-flatworm", "matures", None, 35, None, "d", (27, 27)),
    ("acropora-flatworm", "generation", None, 38, None, "d", (27, 27)),
    ("acropora-flatworm", "generation", None, 64, None, "d", (24, 24)),
    ("skin-fluke", "hatch", 5, None, 6, "d", (25, 25)),
    ("skin-fluke", "lays", 10, None, 11, "d", (25, 25)),
    ("skin-fluke", "generation", 10, None, 13, "d", (26, 32)),
    ("marine-velvet", "generation", 7, None, 20, "d", None),
    ("amphiprion-percula", "lifespan", None, 30, None, "a", None),
    ("pocillopora", "growth", 13, 32, 53, "mm/a", None),
    ("seriatopora", "growth", 17, 38, 58, "mm/a", None),
    ("merulina", "growth", 17, 23, 27, "mm/a", None),
]


def entries():
    c = packaged()
    return [*c.kinds.values(), *c.pests.values(), *c.agents.values(), *c.hazards.values()]


@pytest.mark.published
@pytest.mark.parametrize(("name", "what", "low", "typical", "high", "unit", "at"), PUBLISHED)
def test_facts_are_those_that_were_published(name, what, low, typical, high, unit, at):
    c = packaged()
    entry = c.kinds.get(name) or c.pest(name)
    found = [f for f in entry.facts if f.what == what and f.mark is Mark.SOURCE and f.temperature == at]
    assert (low, typical, high, unit) in [(f.low, f.typical, f.high, f.unit) for f in found]
    assert all(s in c.sources for f in found for s in f.source.split())


def test_every_fact_bears_its_origin_and_says_so_where_it_is_unconfirmed():
    c = packaged()
    facts = [f for e in entries() for f in (*getattr(e, "facts", ()), *getattr(e, "cautions", ()))]
    assert len(facts) > 1000
    for f in facts:
        said = origin(c, f.mark, f.source)
        assert said
        assert f.mark.unconfirmed == said.startswith("unconfirmed")
        assert fact_said(f).strip(". ")


def test_no_dose_and_no_promise_stands_anywhere():
    """No strength of an agent, and none of the words that would promise something."""
    dose = re.compile(r"\d\s*(mg/L|g/L|ppm|mL per|drops|mg per|mL of)", re.IGNORECASE)
    for a in packaged().agents.values():
        for text in (*(f.says for f in a.cautions), *(r.says for r in a.reaches)):
            assert not dose.search(text), (a.id, text)
    for e in entries():
        for line, _ in entry_lines(packaged(), e):
            assert not re.search(r"\bsafe\b|\bguarantee|eradicates\b", line), (e.id, line)


def test_chances_of_carriers_are_marked_as_what_they_are():
    rides = [r for p in packaged().pests.values() for r in p.rides]
    assert len(rides) > 100
    assert {r.mark for r in rides} == {Mark.JUDGEMENT}  # nobody has measured one


def test_everything_that_is_named_exists():
    c = packaged()
    tags = {t for k in c.kinds.values() for t in (*k.tags, k.id, k.group)}
    for k in c.kinds.values():
        assert set(k.hazards) <= set(c.hazards), k.id
        for r in k.risks:
            assert set(r.to) <= tags | {"smaller-fish", "own-kind"}, (k.id, r.to)
    for p in c.pests.values():
        assert set(p.hosts) <= tags, p.id
    for a in c.agents.values():
        assert set(a.harms) <= tags, a.id


# -- the keeper's own ------------------------------------------------------------------------------------

OWN = """
[[kind]]
id = "amphiprion-percula"
group = "fish"
scientificName = "Amphiprion percula"
facts = [{ what = "adult-length", low = 6, high = 9, unit = "cm", mark = "own" }]
"""


def test_own_entries_stand_before_ours_and_ours_again_when_they_are_dropped(settled):
    store = settled.store
    assert catalogue.add(store, OWN, "own.toml") == ["kind/amphiprion-percula"]
    mine = catalogue.catalogue(store).kinds["amphiprion-percula"]
    assert (mine.own, mine.fact("adult-length").high) == (True, 9)
    assert catalogue.drop(store, "kind/amphiprion-percula") is True
    assert catalogue.catalogue(store).kinds["amphiprion-percula"].fact("adult-length").high == 11
    with pytest.raises(UnknownName):
        catalogue.drop(store, "kind/amphiprion-percula")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[kind", "own.toml: this is no TOML"),
        ("[[fish]]\nid='x'", "nobody knows [fish]"),
        ('[[kind]]\nid = "x"\ngroup = "fish"', "own.toml: kind x: missing"),
        ('[[kind]]\nid = "x"\ngroup = "bird"\nscientificName = "X"', "own.toml: kind x:"),
        ('[[kind]]\nid = "X y"\ngroup = "fish"\nscientificName = "X"', "'X y' is no id"),
        (OWN.replace("low = 6, high = 9", "low = 9, high = 6"), "no range from low to high"),
        (OWN.replace('unit = "cm", ', ""), "a number without a unit"),
        (OWN.replace('mark = "own"', 'mark = "source"'), "names none"),
        (OWN.replace('mark = "own"', 'mark = "source", source = "S999"'), "nobody knows the source 'S999'"),
        (OWN.replace("what =", "waht ="), "unknown field 'waht'. Did you mean what?"),
        ("", "holds no entry"),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_used_gets_one_line_and_keeps_nothing(settled, text, said):
    with pytest.raises(BadInput) as refused:
        catalogue.add(settled.store, text, "own.toml")
    assert said in refused.value.line()
    assert "\n" not in refused.value.line().strip()
    assert settled.store.records(catalogue.OWN) == {}


def test_the_schema_describes_our_own_files():
    import tomllib
    from importlib import resources

    jsonschema = pytest.importorskip("jsonschema")
    folder = resources.files("leadline.livestock") / "catalogue"
    for name in catalogue.FILES:
        raw = tomllib.loads((folder / f"{name}.toml").read_text(encoding="utf-8"))
        jsonschema.validate(raw, catalogue.schema())


def test_an_example_can_be_kept(settled):
    from leadline.cli.livestock_catalogue import EXAMPLE

    assert read(EXAMPLE, "example").kind[0].id == "pink-tailed-trigger"
    assert catalogue.add(settled.store, EXAMPLE, "example") == ["kind/pink-tailed-trigger"]


def test_an_own_entry_changes_only_what_it_names(settled):
    """What it does not say stays as ours, and an own fact stands for ours of the same name."""
    ours = catalogue.packaged().kinds["zebrasoma-flavescens"]
    text = """
[[kind]]
id = "zebrasoma-flavescens"
facts = [{ what = "sight", low = 3, high = 5, unit = "d", mark = "own" }]
"""
    assert catalogue.add(settled.store, text, "own.toml") == ["kind/zebrasoma-flavescens"]
    mine = catalogue.catalogue(settled.store).kinds["zebrasoma-flavescens"]
    assert (mine.own, mine.scientificName, mine.risks) == (True, ours.scientificName, ours.risks)
    assert [f.low for f in mine.facts if f.what == "sight"] == [3]
    assert {f.what for f in ours.facts} <= {f.what for f in mine.facts}
    assert catalogue.drop(settled.store, "zebrasoma-flavescens")
    assert catalogue.catalogue(settled.store).kinds["zebrasoma-flavescens"] == ours
