"""Whether the importer can read a file that is kept in the store: yes also when it would have to ask something."""

from __future__ import annotations

import tempfile
from pathlib import Path

from leadline.app.bring_in import Question
from leadline.formats import opening
from leadline.formats.opening import Desk, Options
from leadline.measures.errors import LeadlineError

_LOOKED_AT = 200_000  # of a text; a heading and some rows tell what it is. [bytes]


def readable(content: bytes, ending: str, desk: Desk) -> bool:
    """Try the file as `leadline import` would.

    Parameters
    ----------
    ending
        `.csv` or `.xlsx`: of a long text only the first rows are tried.
    """
    if ending == ".csv" and len(content) > _LOOKED_AT:
        content = content[: content.rfind(b"\n", 0, _LOOKED_AT) + 1] or content
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"report{ending}"
        path.write_bytes(content)
        try:
            opening.read(path, desk, Options())
        except Question:
            return True
        except LeadlineError:
            return False
    return True
