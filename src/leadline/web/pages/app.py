"""What lets a browser keep the pages as an app: its manifest, its worker, the page without a connection."""

from __future__ import annotations

import json
from importlib import resources

from starlette.requests import Request
from starlette.responses import Response

from leadline.measures.words import _
from leadline.web.pages.round import page
from leadline.web.ways import Right, way

_MANIFEST = {
    "name": "Leadline", "short_name": "Leadline", "id": "/", "start_url": "/", "scope": "/", "display": "standalone",
    "description": "What your water is now, how sure that is, and what deserves your next ten minutes.",
    "background_color": "#fbf8ef", "theme_color": "#fbf8ef", "lang": "en", "categories": ["utilities"],
    "icons": [
        {"src": "/static/mark-192.png", "sizes": "192x192", "type": "image/png", "purpose": "any"},
        {"src": "/static/mark-512.png", "sizes": "512x512", "type": "image/png", "purpose": "any"},
        {"src": "/static/mark-512.png", "sizes": "512x512", "type": "image/png", "purpose": "maskable"},
        {"src": "/static/mark.svg", "sizes": "any", "type": "image/svg+xml", "purpose": "any"},
    ],
    "shortcuts": [
        {"name": "Journal", "url": "/journal"},
        {"name": "Watch", "url": "/watch"},
    ],
}  # fmt: skip


async def manifest(request: Request) -> Response:
    """`GET /manifest.webmanifest` (W3C Web Application Manifest)."""
    return Response(
        json.dumps(_MANIFEST), media_type="application/manifest+json", headers={"cache-control": "no-cache"}
    )


async def worker(request: Request) -> Response:
    """`GET /sw.js`: at the root, so that it may answer for every page."""
    text = resources.files("leadline.web").joinpath("static/sw.js").read_text(encoding="utf-8")
    return Response(text, media_type="text/javascript", headers={"cache-control": "no-cache"})


async def offline(request: Request) -> Response:
    """`GET /offline`: kept by the worker, shown when nobody answers."""
    return page(request, "offline.html", {"title": _("No connection"), "tabs": [], "view": "door"})


WAYS = [
    way("/manifest.webmanifest", manifest, Right.OPEN),
    way("/sw.js", worker, Right.OPEN),
    way("/offline", offline, Right.OPEN),
]
