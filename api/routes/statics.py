"""The style sheet, the script and the mark of the pages, from inside the package."""

from importlib.resources import files
from typing import Final

from fastapi import APIRouter, Response

from api.problems import not_found
from api.routing import reads

router = APIRouter(prefix="/static")

MEDIA_TYPES: Final = {
    "tundish.css": "text/css",
    "acts.js": "text/javascript",
    "live.js": "text/javascript",
    "mark.svg": "image/svg+xml",
}


@reads(router, "/{name}")
def get_static(name: str) -> Response:
    """Return one of the few files that pages need."""
    if name not in MEDIA_TYPES:
        raise not_found(f"there is no file {name!r} here; there are {', '.join(MEDIA_TYPES)}")
    data = (files("api") / "static" / name).read_bytes()
    return Response(data, media_type=MEDIA_TYPES[name], headers={"Cache-Control": "no-cache"})
