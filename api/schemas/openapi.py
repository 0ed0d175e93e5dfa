"""The OpenAPI document, cut to what a person reads."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class DescribedParameter:
    """One parameter of a route."""

    name: str
    place: str
    kind: str
    words: str
    required: bool


@dataclass(frozen=True, slots=True)
class DescribedRoute:
    """One route with what it takes and what it gives."""

    method: str
    path: str
    summary: str
    words: str
    parameters: tuple[DescribedParameter, ...]
    answers: tuple[str, ...]
    fields: tuple[DescribedParameter, ...]
    """The fields of the body of a good answer, if it is JSON."""


def described_routes(document: Mapping[str, Any]) -> list[DescribedRoute]:
    """Return every route of an OpenAPI document in its order."""
    return [
        _route(document, path, method.upper(), operation)
        for path, operations in document["paths"].items()
        for method, operation in operations.items()
    ]


def _route(
    document: Mapping[str, Any], path: str, method: str, operation: Mapping[str, Any]
) -> DescribedRoute:
    good = operation["responses"].get("200", {})
    return DescribedRoute(
        method=method,
        path=path,
        summary=operation.get("summary", ""),
        words=operation.get("description", ""),
        parameters=tuple(_parameter(entry) for entry in operation.get("parameters", [])),
        answers=tuple(good.get("content", {})),
        fields=tuple(_fields(document, good)),
    )


def _parameter(entry: Mapping[str, Any]) -> DescribedParameter:
    schema = entry.get("schema", {})
    words = entry.get("description") or schema.get("description", "")
    return DescribedParameter(entry["name"], entry["in"], _kind(schema), words, bool(entry.get("required")))


def _fields(document: Mapping[str, Any], answer: Mapping[str, Any]) -> Iterator[DescribedParameter]:
    schema = answer.get("content", {}).get("application/json", {}).get("schema", {})
    found = _resolved(document, schema)
    required = found.get("required", [])
    for name, field in found.get("properties", {}).items():
        yield DescribedParameter(name, "body", _kind(field), field.get("description", ""), name in required)


def _resolved(document: Mapping[str, Any], schema: Mapping[str, Any]) -> Mapping[str, Any]:
    name = schema.get("$ref", "").rpartition("/")[2]
    found: Mapping[str, Any] = document["components"]["schemas"][name] if name else schema
    return found


def _kind(schema: Mapping[str, Any]) -> str:
    """Return the type of a field in a word or two."""
    if choices := schema.get("anyOf"):
        return " or ".join(dict.fromkeys(_kind(choice) for choice in choices))
    if "enum" in schema:
        return " | ".join(str(choice) for choice in schema["enum"])
    if "$ref" in schema:
        return str(schema["$ref"]).rpartition("/")[2]
    if schema.get("type") == "array":
        return f"list of {_kind(schema['items'])}"
    return str(schema.get("format") or schema.get("type", "any"))
