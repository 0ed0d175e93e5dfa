"""The description of the API: OpenAPI 3.1 for programs, and a page made from it that needs no internet."""

from typing import Any

from fastapi import APIRouter, FastAPI, Request
from fastapi.responses import HTMLResponse

from api.callers import SECURITY_SCHEMES
from api.dependencies import PartsOf
from api.problems import PROBLEM_SCHEMAS
from api.routing import reads
from api.schemas.openapi import described_routes

router = APIRouter(include_in_schema=False)


def described_app(app: FastAPI) -> dict[str, Any]:
    """Return the OpenAPI document of an app, with the ways in which a key is given and the body of errors."""
    document: dict[str, Any] = app.openapi()
    document["components"]["securitySchemes"] = SECURITY_SCHEMES
    document["components"]["schemas"].update(PROBLEM_SCHEMAS)
    return document


@reads(router, "/openapi.json")
async def get_openapi(request: Request) -> dict[str, Any]:
    """Return the description for programs."""
    return described_app(request.app)


@reads(router, "/docs")
async def get_docs(request: Request, parts: PartsOf) -> HTMLResponse:
    """Return the description for people."""
    document = described_app(request.app)
    return parts.pages.draw(request, "docs.html", api=document["info"], routes=described_routes(document))
