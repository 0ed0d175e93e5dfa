"""What holds for each route, whatever it shows."""

import re
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from api.app import close_app, create_app
from api.keys import Scope
from api.problems import PROBLEM_MEDIA_TYPE
from api.services import ApiSettings
from storage.store import Store
from tests.fakes.api_services import still_services
from tests.fakes.keys import hand_out

Client = httpx.AsyncClient
HANDBOOK = Path(__file__).parents[3] / "docs" / "api.md"

ADDRESSES = {
    "/": "/",
    "/lines": "/lines",
    "/today": "/today",
    "/trays": "/trays",
    "/results": "/results",
    "/lots": "/lots",
    "/lots/{code}": "/lots/X1",
    "/sheets": "/sheets?sheet=wide",
    "/readings/{reading_id}": "/readings/128",
    "/results/{result_id}": "/results/{result}",
    "/static/{name}": "/static/tundish.css",
    "/sheets/readings.csv": "/sheets/readings.csv",
    "/sheets/readings.xlsx": "/sheets/readings.xlsx",
    "/sheets/results.csv": "/sheets/results.csv",
    "/sheets/results.xlsx": "/sheets/results.xlsx",
    "/sheets/wide.csv": "/sheets/wide.csv",
    "/sheets/wide.xlsx": "/sheets/wide.xlsx",
    "/sheets/lots.csv": "/sheets/lots.csv",
    "/sheets/lots.xlsx": "/sheets/lots.xlsx",
    "/sheets/calibrations.csv": "/sheets/calibrations.csv",
    "/sheets/calibrations.xlsx": "/sheets/calibrations.xlsx",
    "/sheets/checks.csv": "/sheets/checks.csv",
    "/sheets/checks.xlsx": "/sheets/checks.xlsx",
    "/sheets/amendments.csv": "/sheets/amendments.csv",
    "/sheets/amendments.xlsx": "/sheets/amendments.xlsx",
    "/sheets/additions.csv": "/sheets/additions.csv",
    "/sheets/additions.xlsx": "/sheets/additions.xlsx",
    "/sheets/value.txt": "/sheets/value.txt?quantity=free_so2&lot=X1",
    "/sheets/value.xml": "/sheets/value.xml?quantity=free_so2&lot=X1",
    "/api/v1/health": "/api/v1/health",
    "/api/v1/lines": "/api/v1/lines",
    "/api/v1/lines/{line}": "/api/v1/lines/ph",
    "/api/v1/lines/{line}/stream": "/api/v1/lines/ph/stream",
    "/api/v1/lines/{line}/settings": "/api/v1/lines/ph/settings",
    "/api/v1/lines/{line}/doctor": "/api/v1/lines/ph/doctor",
    "/api/v1/keys": "/api/v1/keys",
    "/api/v1/clock-events": "/api/v1/clock-events",
    "/api/v1/backups": "/api/v1/backups",
    "/api/v1/instruments": "/api/v1/instruments",
    "/api/v1/captures": "/api/v1/captures",
    "/api/v1/captures/{capture_id}": "/api/v1/captures/4",
    "/api/v1/captures/{capture_id}/bytes": "/api/v1/captures/4/bytes",
    "/api/v1/captures/{capture_id}/frames": "/api/v1/captures/4/frames",
    "/api/v1/gaps": "/api/v1/gaps",
    "/api/v1/readings": "/api/v1/readings",
    "/api/v1/readings/{reading_id}": "/api/v1/readings/128",
    "/api/v1/curve-points": "/api/v1/curve-points",
    "/api/v1/reports": "/api/v1/reports",
    "/api/v1/pours": "/api/v1/pours",
    "/api/v1/settled": "/api/v1/settled",
    "/api/v1/instruments/{instrument}/settling/{quantity}": "/api/v1/instruments/ph-meter-1/settling/ph",
    "/api/v1/ledger": "/api/v1/ledger",
    "/api/v1/events": "/api/v1/events",
    "/api/v1/openapi.json": "/api/v1/openapi.json",
    "/api/v1/docs": "/api/v1/docs",
    "/api/v1/trays/{instrument}": "/api/v1/trays/burette-1",
    "/api/v1/readings/{reading_id}/ties": "/api/v1/readings/128/ties",
    "/api/v1/control-records": "/api/v1/control-records",
    "/api/v1/control-records/{number}": "/api/v1/control-records/{control}",
    "/api/v1/states/{kind}": "/api/v1/states/calibration",
    "/api/v1/holds": "/api/v1/holds",
    "/api/v1/holds/{number}": "/api/v1/holds/{hold}",
    "/api/v1/results": "/api/v1/results",
    "/api/v1/amendments/{number}": "/api/v1/amendments/{amendment}",
    "/api/v1/results/{result_id}": "/api/v1/results/{result}",
    "/api/v1/results/{result_id}/thread": "/api/v1/results/{result}/thread",
    "/api/v1/results/{result_id}/history": "/api/v1/results/{result}/history",
    "/api/v1/people/{initials}/pin": "/api/v1/people/X1/pin",
    "/api/v1/due": "/api/v1/due",
    "/api/v1/alerts": "/api/v1/alerts",
    "/api/v1/cards/{kind}": "/api/v1/cards/opening",
    "/api/v1/lots/{code}/latest": "/api/v1/lots/X1/latest",
    "/api/v1/lots/{code}/limits": "/api/v1/lots/X1/limits",
    "/api/v1/lots/{code}/forecast": "/api/v1/lots/X1/forecast?level=1",
    "/api/v1/lots/{code}/dose": "/api/v1/lots/X1/dose?mg_l=10",
    "/api/v1/lots/{code}/lineage": "/api/v1/lots/X1/lineage",
    "/api/v1/lots/{code}/volume": "/api/v1/lots/X1/volume",
    "/api/v1/vessels/{code}/contents": "/api/v1/vessels/X1/contents",
    "/additions": "/additions",
    "/what-if": "/what-if",
    "/what-if/driver": "/what-if/driver",
    "/what-if/{number}": "/what-if/{amendment}",
    "/additions/plan": "/additions/plan?lot=X1",
    "/additions/{number}": "/additions/{addition}",
    "/additions/{number}/card": "/additions/{addition}/card",
    "/additions/{number}/card.txt": "/additions/{addition}/card.txt",
    "/api/v1/additions": "/api/v1/additions",
    "/api/v1/additions/{number}": "/api/v1/additions/{addition}",
    "/api/v1/lots/{code}/binding": "/api/v1/lots/X1/binding",
    "/api/v1/lots/{code}/water": "/api/v1/lots/X1/water",
    "/api/v1/runs": "/api/v1/runs",
    "/api/v1/runs/{number}": "/api/v1/runs/{run}",
    "/api/v1/runs/{number}/curve": "/api/v1/runs/{run}/curve",
    "/api/v1/runs/{number}/end-point": "/api/v1/runs/{run}/end-point?method=X3",
    "/api/v1/outside-results": "/api/v1/outside-results",
    "/api/v1/outside-results/bias": "/api/v1/outside-results/bias?source=a&quantity=ph",
    "/api/v1/reagents/{code}/recall": "/api/v1/reagents/X1/recall",
    "/api/v1/equipment/{code}/services": "/api/v1/equipment/X1/services",
    "/api/v1/results/{result_id}/budget": "/api/v1/results/{result}/budget",
    "/api/v1/movements": "/api/v1/movements",
    "/api/v1/movements/{number}": "/api/v1/movements/{movement}",
    "/api/v1/{plural:records}": "/api/v1/lots",
    "/api/v1/{plural:records}/{code}": "/api/v1/lots/X1",
    "/api/v1/{plural:records}/{code}/history": "/api/v1/lots/X1/history",
}
"""An address of each route that is answered when the bench is filled."""

WRITES = {
    "/api/v1/lines": {"POST"},
    "/api/v1/lines/{line}": {"PUT", "DELETE"},
    "/api/v1/lines/{line}/stop": {"POST"},
    "/api/v1/lines/{line}/start": {"POST"},
    "/api/v1/reload": {"POST"},
    "/api/v1/backups": {"POST"},
    "/api/v1/keys": {"POST"},
    "/api/v1/keys/{number}/revoke": {"POST"},
    "/api/v1/learn": {"POST"},
    "/api/v1/pours": {"POST"},
    "/api/v1/pours/preview": {"POST"},
    "/api/v1/instruments/{instrument}/tap": {"POST"},
    "/api/v1/trays/{instrument}/items": {"POST"},
    "/api/v1/trays/{instrument}/on": {"POST"},
    "/api/v1/tray-items/{item}": {"PUT"},
    "/api/v1/ties": {"POST"},
    "/api/v1/ties/swap": {"POST"},
    "/api/v1/ties/reassign": {"POST"},
    "/api/v1/calibrations": {"POST"},
    "/api/v1/verifications": {"POST"},
    "/api/v1/standardisations": {"POST"},
    "/api/v1/blanks": {"POST"},
    "/api/v1/pump-factors": {"POST"},
    "/api/v1/mass-checks": {"POST"},
    "/api/v1/checks": {"POST"},
    "/api/v1/holds/{number}/settle": {"POST"},
    "/api/v1/holds/{number}/narrow": {"POST"},
    "/api/v1/results": {"POST"},
    "/api/v1/releases": {"POST"},
    "/api/v1/what-if": {"POST"},
    "/api/v1/amendments": {"POST"},
    "/api/v1/amendments/{number}/undo": {"POST"},
    "/api/v1/rejections": {"POST"},
    "/api/v1/alerts/acknowledge": {"POST"},
    "/api/v1/cards/{kind}": {"POST"},
    "/api/v1/additions": {"POST"},
    "/api/v1/additions/{number}/weighings": {"POST"},
    "/api/v1/additions/{number}/done": {"POST"},
    "/api/v1/additions/{number}/cancel": {"POST"},
    "/api/v1/runs/{number}/results": {"POST"},
    "/api/v1/runs/{number}/notes": {"POST"},
    "/api/v1/runs/{number}/reject": {"POST"},
    "/api/v1/runs/{number}/take-back": {"POST"},
    "/api/v1/runs/{number}/abort": {"POST"},
    "/api/v1/outside-results": {"POST"},
    "/api/v1/equipment/{code}/services": {"POST"},
    "/api/v1/movements": {"POST"},
    "/api/v1/people/{initials}/pin": {"PUT"},
    "/api/v1/people/{initials}/pin/check": {"POST"},
    "/api/v1/{plural:records}": {"POST"},
    "/api/v1/{plural:records}/{code}": {"PUT"},
}
"""What can be changed, and by which methods."""

MANAGED = {
    ("GET", "/what-if/driver"),
    ("GET", "/api/v1/keys"),
    ("GET", "/api/v1/lines/{line}/settings"),
    ("POST", "/api/v1/keys"),
    ("POST", "/api/v1/keys/{number}/revoke"),
    ("POST", "/api/v1/lines"),
    ("PUT", "/api/v1/lines/{line}"),
    ("DELETE", "/api/v1/lines/{line}"),
    ("POST", "/api/v1/lines/{line}/stop"),
    ("POST", "/api/v1/lines/{line}/start"),
    ("POST", "/api/v1/reload"),
    ("POST", "/api/v1/backups"),
    ("POST", "/api/v1/pours"),
    ("POST", "/api/v1/pours/preview"),
}
"""What wants a key that may manage; the rest of what reads wants read, of what writes wants bench."""

PATHS = pytest.mark.parametrize("path", ADDRESSES)


def _address(path: str, ids: dict[str, int]) -> str:
    """Return the address of a route on the filled bench."""
    return ADDRESSES[path].format(**ids)


def _problem(answer: httpx.Response, status: int) -> dict[str, Any]:
    """Check that an answer is a problem document, and return it."""
    body: dict[str, Any] = answer.json()
    assert answer.status_code == body["status"] == status
    assert answer.headers["content-type"] == PROBLEM_MEDIA_TYPE
    assert body.keys() == {"type", "title", "status", "detail", "instance", "errors", "rule"}
    return body


def _laid(app: FastAPI) -> dict[str, set[str]]:
    """Every path with its methods, however its router was included."""
    found: dict[str, set[str]] = {}
    for path, methods in _paths(app.router.routes):
        found.setdefault(path, set()).update(methods)
    return found


def _paths(routes: Any) -> list[tuple[str, set[str]]]:
    found: list[tuple[str, set[str]]] = []
    for route in routes:
        contexts = route.effective_route_contexts() if hasattr(route, "effective_route_contexts") else [route]
        found += [(context.path, context.methods) for context in contexts]
    return found


def test_the_list_of_addresses_names_every_route(bench_app: FastAPI) -> None:
    wanted = {path: {"GET", "HEAD"} for path in ADDRESSES}
    for path, methods in WRITES.items():
        wanted.setdefault(path, set()).update(methods)
    assert _laid(bench_app) == wanted


@PATHS
async def test_head_is_answered_like_get_without_a_body(
    bench: Client, ids: dict[str, int], path: str
) -> None:
    answer = await bench.head(_address(path, ids))
    assert answer.status_code == 200
    assert answer.content == b""
    assert answer.headers["content-type"]


@PATHS
@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
async def test_another_method_is_answered_with_those_that_are_possible(
    bench: Client, ids: dict[str, int], path: str, method: str
) -> None:
    if method in WRITES.get(path, ()):
        return
    answer = await bench.request(method, _address(path, ids))
    assert _problem(answer, 405)["instance"] == _address(path, ids).partition("?")[0]
    assert set(answer.headers["allow"].split(", ")) == {"GET", "HEAD"} | WRITES.get(path, set())


@pytest.mark.parametrize("path", WRITES)
@pytest.mark.parametrize("method", ["GET", "PATCH"])
async def test_a_route_that_only_writes_says_so(bench: Client, path: str, method: str) -> None:
    if path in ADDRESSES:
        return
    answer = await bench.request(method, path.replace("{line}", "ph"))
    _problem(answer, 405)
    assert answer.headers["allow"] == ", ".join(sorted(WRITES[path]))


@pytest.mark.parametrize("path", WRITES)
async def test_a_write_takes_no_unknown_parameter(bench: Client, path: str) -> None:
    for method in WRITES[path]:
        answer = await bench.request(
            method,
            path.replace("{line}", "ph").replace("{plural:records}", "lots"),
            params={"no_such_parameter": "1"},
            json={"line": {"name": "ph"}} if method != "DELETE" and path.count("/") < 5 else None,
            headers={"Tundish-Actor": "AB"},
        )
        fault = _problem(answer, 422)["errors"][0]
        assert fault["parameter"] == "no_such_parameter" or fault["location"] in {"body", "path"}


@PATHS
async def test_an_unknown_parameter_is_refused_by_name(bench: Client, ids: dict[str, int], path: str) -> None:
    answer = await bench.get(_address(path, ids), params={"no_such_parameter": "1"})
    assert _problem(answer, 422)["errors"][0]["parameter"] == "no_such_parameter"


@pytest.mark.parametrize("address", ["/api/v1/readings", "/sheets/readings.csv"])
async def test_a_filter_that_comes_twice_is_refused(bench: Client, address: str) -> None:
    answer = await bench.get(address, params=[("instrument", "one"), ("instrument", "other")])
    fault = _problem(answer, 422)["errors"][0]
    assert (fault["parameter"], fault["detail"]) == ("instrument", "it came 2 times; give it once")


@pytest.mark.parametrize("path", sorted(ADDRESSES.keys() | WRITES.keys()))
async def test_the_handbook_shows_the_route(path: str) -> None:
    assert f"`{path}`" in HANDBOOK.read_text(encoding="utf-8")


@pytest.mark.parametrize("path", [path for path in ADDRESSES if "_id}" in path or "{number}" in path])
@pytest.mark.parametrize("wrong", ["0", "-1", "abc", str(2**63)])
async def test_an_id_that_cannot_be_is_refused(bench: Client, path: str, wrong: str) -> None:
    answer = await bench.get(re.sub(r"{\w+}", wrong, path))
    assert _problem(answer, 422)["errors"][0]["location"] == "path"


@pytest.mark.parametrize(
    "address", ["/nowhere", "/api/v1/lines/", "/api/v1/nowhere", "/sheets/nowhere.csv", "/static/nowhere"]
)
async def test_an_address_without_a_route_is_not_found(bench: Client, address: str) -> None:
    assert _problem(await bench.get(address), 404)["instance"] == address


async def test_a_foreign_host_name_is_refused_on_every_route(bench: Client) -> None:
    for address in ADDRESSES.values():
        _problem(await bench.get(address, headers={"Host": "evil.example"}), 400)


async def test_the_description_is_openapi_3_1_and_names_no_other_host(bench: Client) -> None:
    answer = await bench.get("/api/v1/openapi.json")
    assert answer.json()["openapi"].startswith("3.1")
    without_schemes = answer.text.replace('"type":"http"', "")  # the word for the header Authorization
    assert "http" not in without_schemes.replace("HTTP", "").replace("http_", "")


async def test_every_described_route_declares_the_problem_document(bench: Client) -> None:
    document = (await bench.get("/api/v1/openapi.json")).json()
    operations = [operation for path in document["paths"].values() for operation in path.values()]
    undescribed = {"/api/v1/openapi.json", "/api/v1/docs"}
    described = [path for path in ADDRESSES if path.startswith(("/api/", "/sheets/"))]
    assert len(operations) == len(set(described) - undescribed) + sum(map(len, WRITES.values()))
    for operation in operations:
        for status in ("400", "404", "422"):
            assert PROBLEM_MEDIA_TYPE in operation["responses"][status]["content"]


async def test_what_is_described_is_what_is_answered(bench: Client, ids: dict[str, int]) -> None:
    document = (await bench.get("/api/v1/openapi.json")).json()
    for path in ADDRESSES.keys() & document["paths"].keys() - {"/api/v1/events"}:
        assert (await bench.get(_address(path, ids))).status_code == 200


EVERY_METHOD = [
    *(("GET", path) for path in ADDRESSES),
    *(("HEAD", path) for path in ADDRESSES),
    *((method, path) for path, methods in WRITES.items() for method in sorted(methods)),
]


def _wanted(method: str, path: str) -> Scope:
    """Return the scope that a route must want."""
    if (method.replace("HEAD", "GET"), path) in MANAGED:
        return Scope.MANAGE
    return Scope.READ if method in {"GET", "HEAD"} else Scope.BENCH


@pytest.fixture(scope="module")
def keys(filled: tuple[Store, dict[str, int]]) -> dict[Scope, str]:
    """A key of each scope."""
    return {scope: hand_out(filled[0], f"walker-{scope}", scope) for scope in Scope}


@pytest.fixture
async def stranger(filled: tuple[Store, dict[str, int]]) -> AsyncIterator[Client]:
    """A client that is let in by a key alone, on the filled store."""
    settings = ApiSettings("demo", live_round_s=0, loopback_open=False, failure_pause_s=0)
    app = create_app(still_services(filled[0], settings))
    async with Client(transport=httpx.ASGITransport(app), base_url="http://127.0.0.1:8710") as client:
        yield client
    close_app(app)


async def _asked(client: Client, method: str, path: str, ids: dict[str, int], key: str | None) -> Any:
    """Ask with a body that no route takes, or for a stream from nowhere: nothing is written or begun."""
    headers = {} if key is None else {"Authorization": f"Bearer {key}"}
    is_read = method in {"GET", "HEAD"}
    address = _address(path, ids) if is_read else path
    address = address.replace("{line}", "ph").replace("{plural:records}", "lots")
    address = re.sub(r"{\w+}", "1", address)
    params = {"since": "nowhere"} if address.endswith("/events") and method == "GET" else {}
    body = None if is_read or method == "DELETE" else 7
    return await client.request(method, address, params=params, headers=headers, json=body)


async def test_no_route_is_answered_without_a_key_where_one_is_wanted(
    stranger: Client, ids: dict[str, int]
) -> None:
    for method, path in EVERY_METHOD:
        answer = await _asked(stranger, method, path, ids, None)
        assert answer.status_code == 401, (method, path)
        assert answer.headers["www-authenticate"].startswith("Basic realm="), (method, path)
        assert answer.headers["content-type"] == PROBLEM_MEDIA_TYPE, (method, path)


@pytest.mark.parametrize("scope", Scope)
async def test_each_route_lets_in_the_keys_that_may_and_no_other(
    stranger: Client, keys: dict[Scope, str], ids: dict[str, int], scope: Scope
) -> None:
    for method, path in EVERY_METHOD:
        answer = await _asked(stranger, method, path, ids, keys[scope])
        is_let_in = answer.status_code not in {401, 403}
        assert is_let_in == scope.allows(_wanted(method, path)), (method, path, answer.status_code)


async def test_the_description_says_which_key_each_route_wants(bench: Client) -> None:
    document = (await bench.get("/api/v1/openapi.json")).json()
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            wanted = _wanted(method.upper(), path)
            assert operation["x-scope"] == wanted, (method, path)
            ways = {name for way in operation["security"] for name in way}
            assert ("address" in ways) == (wanted is Scope.READ), (method, path)
            assert ways <= document["components"]["securitySchemes"].keys()


@pytest.mark.parametrize("plural", ["people", "methods", "acceptance", "limit-sets"])
async def test_what_decides_how_numbers_are_judged_is_changed_by_who_manages_alone(
    stranger: Client, keys: dict[Scope, str], plural: str
) -> None:
    body = {"code": "Q", "fields": {"no_such": 1}}
    answers = [
        await stranger.post(
            f"/api/v1/{plural}",
            json=body,
            headers={"Authorization": f"Bearer {key}", "Tundish-Actor": "AB"},
        )
        for key in keys.values()
    ]
    assert [answer.status_code for answer in answers] == [403, 403, 422]
