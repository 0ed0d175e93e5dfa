"""The description of the API: OpenAPI 3.1 for programs, and a page made from it that needs no internet."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from api.dependencies import PartsOf
from api.routing import reads
from api.schemas.openapi import described_routes

router = APIRouter(include_in_schema=False)


@reads(router, "/openapi.json")
async def get_openapi(request: Request) -> dict[str, Any]:
    """Return the description for programs."""
    document: dict[str, Any] = request.app.openapi()
    return document


@reads(router, "/docs")
async def get_docs(request: Request, parts: PartsOf) -> HTMLResponse:
    """Return the description for people."""
    document = request.app.openapi()
    return parts.pages.draw(request, "docs.html", api=document["info"], routes=described_routes(document))
