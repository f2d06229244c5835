"""Write the pages, and parts of pages, that are made from the code: the map, the command reference, the tables.

Usage: .venv/bin/python tools/write_docs.py [--check]
With --check nothing is written; it fails when a page has drifted from the code.
"""

from __future__ import annotations

import ast
import pathlib
import re
import sys
import tomllib
from collections.abc import Callable, Iterator
from typing import Any

ROOT = pathlib.Path(__file__).resolve().parent.parent
SOURCE = ROOT / "src" / "leadline"
_PART = re.compile(r"(<!-- made from the code: (\w+) -->\n).*?(<!-- end -->)", re.DOTALL)


def first_line(path: pathlib.Path) -> str:
    """The first line of a module's docstring: its entry in the map."""
    said = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return said.split("\n\n")[0].replace("\n", " ").rstrip(".")


def floors() -> list[list[str]]:
    """The floors of the import contract, highest first; a package in brackets is only planned."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    layers = settings["tool"]["importlinter"]["contracts"][0]["layers"]
    return [[name.strip() for name in layer.split("|")] for layer in layers]


def tree() -> str:
    """Packages by floor, highest first, with every module's own first line."""
    lines = []
    for floor in floors():
        standing = [p for p in floor if not p.startswith("(")]
        planned = ", ".join(p.strip("()") for p in floor if p.startswith("("))
        if not standing:
            lines.append(f"| *{planned}* | *planned* |")
        for package in standing:
            folder, beside = SOURCE / package, f" (beside it, planned: {planned})" if planned else ""
            if not folder.is_dir():
                lines.append(f"| `{package}.py` | {first_line(SOURCE / f'{package}.py')}{beside} |")
                continue
            lines.append(f"| **`{package}/`** | **{first_line(folder / '__init__.py')}**{beside} |")
            for module in sorted(folder.rglob("*.py")):
                if module.name != "__init__.py":
                    where = module.relative_to(folder).as_posix()
                    lines.append(f"| &emsp;`{where}` | {_cell(first_line(module))} |")
    return "| | |\n| --- | --- |\n" + "\n".join(lines) + "\n"


def benches() -> str:
    """What can be measured, by module of bench/."""
    rows = [
        f"| `{p.stem}` | {_cell(first_line(p))} |" for p in sorted((ROOT / "bench").glob("*.py")) if first_line(p)
    ]  # fmt: skip
    return "| | |\n| --- | --- |\n" + "\n".join(rows) + "\n"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def _number(x: float) -> str:
    return f"{x:.3g}" if abs(x) < 1000 else f"{x:g}"


def families() -> str:
    """How each quantity moves between readings, and what is believed before anybody measured."""
    from leadline.estimate.families import FAMILIES
    from leadline.measures.quantities import QUANTITIES

    head = "quantity | unit | family | scale | rate sd [scales/d] | level walk [scales/√d] | memory [d] | prior"
    lines = [f"| {head} |", "|" + " --- |" * len(head.split(" | "))]
    for q, f in FAMILIES.items():
        unit = QUANTITIES[q].unit if q in QUANTITIES else ""
        marks = [f.kind]
        if f.positive:
            marks.append("≥ 0")
        if f.with_salt:
            marks.append("with salt")
        if f.proportional:
            marks.append(f"at least {f.proportional:g} of the level")
        rate = _number(f.rate_sd) if f.kind == "drifting" else f"departs {f.departure_sd:g}"
        memory = "for ever" if f.memory_d > 1e6 else _number(f.memory_d)
        prior = f"{_number(f.prior[0])} ± {_number(f.prior[1])}"
        row = [q, unit, ", ".join(marks), _number(f.scale), rate, _number(f.level_walk), memory, prior]
        lines.append(f"| {' | '.join(row)} |")
    return "\n".join(lines) + "\n"


def methods() -> str:
    """What is assumed of a hand method by its name."""
    from leadline.system import methods as m

    lines = ["| quantity | method's name holds | sd | offset of one kit or probe | minutes |", "|" + " --- |" * 5]
    for q, p in m.BY_QUANTITY.items():
        for word, found in (("", p), *m.BY_METHOD.get(q, ())):
            lines.append(
                f"| {q if not word else ''} | {word or 'anything else'} | {_doubt(found.sd, found.relative)} "
                f"| {_doubt(found.bias_sd, found.bias_relative)} | {found.minutes:g} |"
            )
    return "\n".join(lines) + "\n"


def _doubt(sd: float, relative: float) -> str:
    parts = ([_number(sd)] if sd else []) + ([f"{100 * relative:g} %"] if relative else [])
    return " and ".join(parts) or "0"


def severities() -> str:
    """How badly a day past the limit is taken, relative."""
    from leadline.rounds.worth import SEVERITY

    ranked = sorted(SEVERITY.items(), key=lambda item: (-item[1], item[0]))
    return "| quantity | severity |\n| --- | --- |\n" + "".join(f"| {q} | {s:g} |\n" for q, s in ranked)


def reliability() -> str:
    """Silent failures: rates, harm, how often daily life shows them, minutes of a proof, origin."""
    from leadline.rounds.reliability import DRIFT, TRUST

    lines = ["| what | per year | harm | seen anyway | minutes | proof | origin |", "|" + " --- |" * 7]
    for table, suffix in ((TRUST, ""), (DRIFT, " probe")):
        for name, t in table.items():
            row = [
                f"{name}{suffix}",
                f"{t.per_year:g}",
                f"{t.harm:g}",
                f"{t.seen:g}",
                f"{t.minutes:g}",
                t.what,
                t.origin,
            ]
            lines.append(f"| {' | '.join(row)} |")
    return "\n".join(lines) + "\n"


def bands() -> str:
    """Aim and limit used when a system declares none."""
    from leadline.measures.quantities import QUANTITIES
    from leadline.system.bands import CONTESTED, DEFAULTS

    lines = ["| quantity | unit | aim | limit |", "|" + " --- |" * 4]
    for q, (aim, limit) in DEFAULTS.items():
        wide = f"{_number(limit[0])} to {_number(limit[1])}" if limit else ""
        mark = ", contested" if q in CONTESTED else ""
        lines.append(f"| {q}{mark} | {QUANTITIES[q].unit} | {_number(aim[0])} to {_number(aim[1])} | {wide} |")
    return "\n".join(lines) + "\n"


def substances() -> str:
    """The catalogue of what is put in on purpose, with what one gram brings."""
    from leadline.model.substances import SUBSTANCES, moles

    lines = ["| substance | given in | molar mass [g/mol] | one gram brings [mmol] |", "|" + " --- |" * 4]
    for name, s in SUBSTANCES.items():
        parts = ", ".join(f"{k.replace('_', ' ')} {1000 * v:.4g}" for k, v in moles(name, 1.0).items())
        given = f"mL ({s.density_g_ml:g} g/mL, {100 * s.strength:g} %)" if s.density_g_ml else "g"
        lines.append(f"| `{name}` | {given} | {s.molar_mass:.3f} | {parts} |")
    return "\n".join(lines) + "\n"


def foods() -> str:
    """Nitrogen and phosphorus of foods as fed."""
    from leadline.model.substances import FOODS

    return "| food | N [mg/g] | P [mg/g] |\n| --- | --- | --- |\n" + "".join(
        f"| `{name}` | {n:g} | {p:g} |\n" for name, (n, p) in FOODS.items()
    )


def waters() -> str:
    """What a poured-in water holds when nobody said."""
    from leadline.measures.quantities import QUANTITIES
    from leadline.model.waters import WATERS

    kinds = [k for k, v in WATERS.items() if v]
    names = dict.fromkeys(q for k in kinds for q in WATERS[k])
    lines = [f"| quantity | unit | {' | '.join(f'`{k}`' for k in kinds)} |", "|" + " --- |" * (2 + len(kinds))]
    for q in names:
        cells = [f"{_number(WATERS[k][q][0])} ± {_number(WATERS[k][q][1])}" if q in WATERS[k] else "0" for k in kinds]
        lines.append(f"| {q} | {QUANTITIES[q].unit} | {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


def parameters() -> str:
    """Every parameter of the simulator with its value, range and origin."""
    from leadline.model.parameters import PARAMETERS

    head = "parameter | meaning | unit | middle | spread | range | mark | source"
    lines = [f"| {head} |", "|" + " --- |" * len(head.split(" | "))]
    for q in PARAMETERS:
        middle = "" if q.middle is None else _number(q.middle)
        spread = "" if not q.spread else f"× {_number(q.spread)}" if q.ratio else f"± {_number(q.spread)}"
        row = [
            f"`{q.name}`",
            q.meaning,
            q.unit,
            middle,
            spread,
            f"{_number(q.low)} to {_number(q.high)}",
            q.mark,
            q.source,
        ]
        lines.append(f"| {' | '.join(_cell(x) for x in row)} |")
    return "\n".join(lines) + "\n"


def commands() -> str:
    """The help of every command, as a person sees it at a hundred columns."""
    import click

    from leadline.cli.main import root

    def walk(command: click.Command, name: str, parent: click.Context | None) -> Iterator[str]:
        ctx = click.Context(
            command, info_name=name, parent=parent, terminal_width=100, max_content_width=100,
            help_option_names=["-h", "--help"],
        )  # fmt: skip
        yield f"## {ctx.command_path}\n\n```text\n{command.get_help(ctx)}\n```\n"
        if isinstance(command, click.Group):
            for sub in command.list_commands(ctx):
                found = command.get_command(ctx, sub)
                assert found is not None
                yield from walk(found, sub, ctx)

    return "\n".join(walk(root, "leadline", None))


COMMON = (400, 401, 403, 413, 415, 422, 503)  # refusals that the guide tells of once


def operations() -> str:
    """Every operation of the API with what it takes, what it answers, what it refuses, and a line to try."""
    from leadline.web.api import OPERATIONS
    from leadline.web.api.document import curl, document, queries, right_said

    told = document(OPERATIONS)
    shapes = told["components"]["schemas"]
    lines: list[str] = []
    for topic in dict.fromkeys(o.topic for o in OPERATIONS):
        lines.append(f"## {topic}\n")
        for o in (x for x in OPERATIONS if x.topic == topic):
            lines.append(f"### `{o.method} {o.path}`\n\n{o.says}\n")
            lines += [f"{o.tells}\n"] if o.tells else []
            lines += [f"At the prompt: `leadline {o.prompt}`.\n"] if o.prompt else []
            lines.append(f"{right_said(o)}\n")
            asked = [(q["name"], "query", q["schema"], q["required"], q["description"]) for q in queries(o)]
            asked += [(h, "header", {"type": "string"}, False, said) for h, said in o.headers.items()]
            if o.body is not None:
                shape = shapes[o.body.__name__]
                asked += [
                    (name, "body", schema, name in shape.get("required", ()), schema.get("description", ""))
                    for name, schema in shape["properties"].items()
                ]
            if asked:
                lines.append("| name | in | is | needed | |\n| --- | --- | --- | --- | --- |")
                lines += [
                    f"| `{n}` | {where} | {_cell(_kind(s))} | {'yes' if needed else ''} | {_cell(said)} |"
                    for n, where, s, needed, said in asked
                ]
                lines.append("")
            names = " or ".join(f"[`{s.__name__}`](#{s.__name__.lower()})" for s in o.answer)
            lines.append(f"Answers {o.status} with {names or f'`{o.media}`'}.\n")
            mine = {s: w for s, w in o.all_refusals().items() if s in o.refuses or s not in COMMON}
            lines += [f"- {status}: {why}" for status, why in mine.items()]
            lines.append(f"\n```text\n{curl(o)}\n```\n")
    lines.append("## Shapes\n")
    for name, shape in shapes.items():
        lines.append(f"### {name}\n")
        lines += [f"{shape['description']}\n"] if "description" in shape else []
        if shape.get("properties"):
            lines.append("| field | is |\n| --- | --- |")
            lines += [f"| `{n}` | {_cell(_kind(s))} |" for n, s in shape["properties"].items()]
            lines.append("")
    return "\n".join(lines)


def _kind(schema: dict[str, Any]) -> str:
    """What a value is, from its JSON Schema."""
    if "$ref" in schema:
        name = schema["$ref"].rpartition("/")[2]
        return f"[{name}](#{name.lower()})"
    if "anyOf" in schema:
        return " or ".join(_kind(s) for s in schema["anyOf"])
    if "enum" in schema:
        return ", ".join(f"`{x}`" for x in schema["enum"])
    kind = schema.get("format", schema.get("type", "anything"))
    if kind == "array":
        return f"list of {_kind(schema.get('items', {}))}"
    if kind == "object" and isinstance(schema.get("additionalProperties"), dict):
        return f"by name: {_kind(schema['additionalProperties'])}"
    ends = [(word, schema[key]) for key, word in (("minimum", "from"), ("exclusiveMinimum", "above"),
                                                  ("maximum", "to")) if key in schema]  # fmt: skip
    return " ".join([str(kind), *(f"{word} {x:g}" for word, x in ends)])


PARTS: dict[str, Callable[[], str]] = {
    "tree": tree, "benches": benches, "families": families, "methods": methods, "severities": severities,
    "reliability": reliability, "bands": bands, "substances": substances, "foods": foods, "waters": waters,
    "parameters": parameters, "commands": commands, "operations": operations,
}  # fmt: skip


def rewritten(page: str) -> str:
    """A page with every part that is made from the code made anew."""
    return _PART.sub(lambda m: f"{m[1]}{PARTS[m[2]]()}{m[3]}", page)


def pages() -> list[pathlib.Path]:
    """Pages that hold a part made from the code."""
    found = sorted((ROOT / "docs").rglob("*.md"))
    return [p for p in found if _PART.search(p.read_text(encoding="utf-8"))]


def main() -> int:
    check = "--check" in sys.argv[1:]
    drifted = []
    for page in pages():
        old = page.read_text(encoding="utf-8")
        new = rewritten(old)
        if new != old:
            drifted.append(page.relative_to(ROOT).as_posix())
            if not check:
                page.write_text(new, encoding="utf-8")
    for name in drifted:
        print(f"{name}: {'has drifted from the code; run make docs' if check else 'written anew'}")
    return 1 if check and drifted else 0


if __name__ == "__main__":
    sys.path[:0] = [str(ROOT / "src"), str(ROOT)]
    sys.exit(main())
