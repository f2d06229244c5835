"""Long tables, one row a test (date, parameter, value, unit), laid out as the wide sheets they stand for."""

from __future__ import annotations

from leadline.formats.headers import plain, told
from leadline.formats.workbook import Cell, Grid, shown

_WHAT = frozenset({
    "parameter", "parameters", "quantity", "test", "analyte", "measurement", "messwert", "messgrosse", "parametre",
    "parametro", "subject", "what", "maling",
})  # fmt: skip
_VALUE = frozenset({"value", "result", "wert", "ergebnis", "valeur", "resultat", "valor", "verdi", "waarde", "reading"})
_UNIT = frozenset({"unit", "units", "einheit", "unite", "unidad", "enhet", "eenheid"})


def as_wide(grid: Grid) -> Grid:
    """The same cells with one column a parameter, each row on the line it came from; other grids as they are."""
    for at, (line, row) in enumerate(grid.rows[:10]):
        names = [plain(shown(c)) for c in row]
        what = next((i for i, n in enumerate(names) if n in _WHAT), -1)
        value = next((i for i, n in enumerate(names) if n in _VALUE), -1)
        dated = any((t := told(shown(c))) is not None and t.role in ("date", "time") for c in row)
        if what < 0 or value < 0 or not dated:
            continue
        unit = next((i for i, n in enumerate(names) if n in _UNIT), -1)
        return _pivoted(grid, at, line, (what, value, unit))
    return grid


def _pivoted(grid: Grid, at: int, line: int, places: tuple[int, int, int]) -> Grid:
    what, value, unit = places
    header = grid.rows[at][1]
    rest = [i for i in range(len(header)) if i not in places]
    columns: dict[str, int] = {}
    rows: list[tuple[int, list[Cell]]] = []
    for number, row in grid.rows[at + 1 :]:
        cells = row + [None] * (len(header) - len(row))
        name = shown(cells[what])
        said = shown(cells[unit]) if unit >= 0 else ""
        heading = f"{name} ({said})" if said else name
        place = columns.setdefault(heading, len(columns))
        rows.append((number, [*[cells[i] for i in rest], *[None] * place, cells[value]]))
    headings: list[Cell] = [*[header[i] for i in rest], *columns]
    return Grid([(line, headings), *rows], grid.broken, grid.sheet)
