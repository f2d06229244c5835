"""The sheet of labels: which things, on what size, for which address; each with a code that a phone reads."""

from __future__ import annotations

import jinja2
from starlette.requests import Request
from starlette.responses import Response

from leadline.app import describe
from leadline.measures.errors import BadInput
from leadline.measures.words import N_, _
from leadline.present import labels as made
from leadline.present.labels import Label, Sheet
from leadline.web.pages.round import Asked, page
from leadline.web.ways import Right, way

_SAID = {"vessel": N_("Vessels"), "equipment": N_("Machines"), "probe": N_("Probes"), "instrument": N_("Instruments")}
_MOST_SKIPPED = 64


async def labels(request: Request) -> Response:
    """`GET /system/ID/labels`: `?only=KIND:ID` (several), `&size=`, `&skip=` and `&address=` choose what is printed."""
    asked, query = Asked(request), request.query_params
    system = describe.load(asked.store, request.path_params["system"])
    every = made.things(system)
    picked = set(query.getlist("only")) if query.get("chosen") else {t.key for t in every}
    here = f"{request.url.scheme}://{request.headers.get('host', '')}"
    typed = query.get("address", "").strip() or here
    wrong, size, skip = "", made.SHEETS[0], 0
    sheets: list[list[Label | None]] = []
    at = typed
    try:
        size = made.sheet(query.get("size", size.id))
        skip = _skip(query.get("skip", "0"))
        at = made.base(typed)
        sheets = made.sheets(made.labels(system, at, [t for t in every if t.key in picked]), size, skip)
    except BadInput as exc:
        wrong = exc.line()
    return page(
        request,
        "labels.html",
        {
            "title": _("Labels: {system}").format(system=system.name),
            "tabs": asked.systems(),
            "view": system.id,
            "system": system,
            "groups": [(_(_SAID[kind]), [t for t in every if t.kind == kind]) for kind in made.KINDS],
            "picked": picked,
            "sizes": made.SHEETS,
            "size": size,
            "skip": skip or "",
            "address": typed,
            "wrong": wrong,
            "sheets": sheets,
            "only_here": not wrong and made.only_here(at),
            "n": sum(x is not None for s in sheets for x in s),
        },
        422 if wrong else 200,
    )


def _skip(typed: str) -> int:
    text = typed.strip()
    if not text:
        return 0
    if not text.isdecimal() or int(text) > _MOST_SKIPPED:
        raise BadInput(
            _("{typed} used places").format(typed=f"{text[:20]!r}"),
            way_out=_("Give a whole number from 0 to {most}.").format(most=_MOST_SKIPPED),
        )
    return int(text)


def alone(templates: jinja2.Environment, title: str, sheets: list[list[Label | None]], size: Sheet) -> str:
    """The same sheets as one file that needs no other."""
    from importlib import resources

    style = (resources.files("leadline.web") / "static" / "labels.css").read_text(encoding="utf-8")
    return templates.get_template("labels_alone.html").render(title=title, sheets=sheets, size=size, style=style)


WAYS = [way("/system/{system}/labels", labels, Right.VIEW, name="labels")]
