"""The demo's mailboxes: what came, a link to answer each, and a switch for the mail server."""

from __future__ import annotations

import re
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from leadline.measures.words import _
from leadline.web.pages.round import Asked, page
from leadline.web.ways import Right, post, way

_LINK = re.compile(r"https?://[^\s/]+(/seen/\S+)")


async def mailbox(request: Request) -> Response:
    """`GET /mailbox`: only in the demo."""
    room = _room(request)
    mails = []
    for mail in room.mails("keeper"):
        text = mail.get_content()
        link = _LINK.search(text)
        paragraphs = [p for p in text.split("\n") if p and not _LINK.search(p)]
        mails.append({"subject": str(mail["subject"]), "paragraphs": paragraphs, "to": link[1] if link else ""})
    return page(
        request,
        "mailbox.html",
        {
            "title": _("Mailbox"),
            "tabs": Asked(request).systems(),
            "view": "mailbox",
            "mails": mails,
            "runs": room.mail_runs,
            "bell": room.rung()[:12],
            "neighbour": [str(m["subject"]) for m in room.mails("neighbour")][:12],
        },
    )


async def switch(request: Request) -> Response:
    """The keeper's mail server is stopped, or started again."""
    form = await request.form()
    _room(request).switch_mail(form.get("on") == "1")
    return RedirectResponse("/mailbox", 303)


def _room(request: Request) -> Any:
    room = request.app.state.mailroom
    if room is None:
        raise HTTPException(404)
    return room


WAYS = [way("/mailbox", mailbox, Right.VIEW), post("/mailbox", switch, Right.KEEP)]
