"""Lines changed over the API: who asks, what is passed on, and what is refused before anybody is asked."""

from http import HTTPStatus

import httpx
import pytest
from fastapi import FastAPI

from api.acts import Act
from api.problems import ParameterFault, ProblemError
from tests.fakes.api_services import StillControl

Client = httpx.AsyncClient
BY_AB = {"Tundish-Actor": "AB"}
TABLE = {"name": "ph", "kind": "serial", "device": "/dev/ttyUSB0"}

ACTS = [
    ("POST", "/api/v1/lines", {"line": TABLE}),
    ("PUT", "/api/v1/lines/ph", {"line": TABLE}),
    ("POST", "/api/v1/lines/ph/stop", {}),
    ("POST", "/api/v1/lines/ph/start", {}),
    ("POST", "/api/v1/reload", {}),
]
EVERY_ACT = pytest.mark.parametrize(("method", "path", "body"), ACTS)


@pytest.fixture
def control(app: FastAPI) -> StillControl:
    found: StillControl = app.state.parts.services.line_control
    return found


@EVERY_ACT
async def test_an_act_is_passed_on_with_its_actor_and_its_reason(
    client: Client, control: StillControl, method: str, path: str, body: dict[str, object]
) -> None:
    answer = await client.request(method, path, json={**body, "reason": " new probe "}, headers=BY_AB)
    assert answer.status_code == (201 if path.endswith("/lines") else 200)
    assert answer.json()["ledger_number"] == 7
    ((_, _, act),) = control.asked
    assert act == Act("AB", "new probe")


@EVERY_ACT
@pytest.mark.parametrize(
    "headers", [{}, {"Tundish-Actor": ""}, {"Tundish-Actor": "A B"}, {"Tundish-Actor": "x" * 33}]
)
async def test_nobody_acts_without_saying_who_they_are(
    client: Client,
    control: StillControl,
    method: str,
    path: str,
    body: dict[str, object],
    headers: dict[str, str],
) -> None:
    answer = await client.request(method, path, json=body, headers=headers)
    assert answer.status_code == 422
    fault = answer.json()["errors"][0]
    assert (fault["parameter"], fault["location"]) == ("tundish-actor", "header")
    assert control.asked == []


@EVERY_ACT
async def test_a_foreign_page_cannot_act(
    client: Client, control: StillControl, method: str, path: str, body: dict[str, object]
) -> None:
    for headers in (
        {"Origin": "http://evil.example"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Host": "evil.example"},
    ):
        answer = await client.request(method, path, json=body, headers={**BY_AB, **headers})
        assert answer.status_code in {400, 403}
    assert control.asked == []


@EVERY_ACT
@pytest.mark.parametrize("media_type", ["text/plain", "application/x-www-form-urlencoded", None])
async def test_a_body_that_is_not_said_to_be_json_is_refused(
    client: Client,
    control: StillControl,
    method: str,
    path: str,
    body: dict[str, object],
    media_type: str | None,
) -> None:
    headers = {**BY_AB, **({"Content-Type": media_type} if media_type else {})}
    answer = await client.request(method, path, content=b'{"line": {}}', headers=headers)
    assert answer.status_code == 415
    assert "send application/json" in answer.json()["detail"]
    assert control.asked == []


@EVERY_ACT
async def test_a_body_beyond_the_limit_is_refused(
    client: Client, control: StillControl, method: str, path: str, body: dict[str, object]
) -> None:
    answer = await client.request(method, path, json={**body, "reason": "x" * 2**20}, headers=BY_AB)
    assert answer.status_code == 413
    assert control.asked == []


@EVERY_ACT
async def test_an_unknown_field_is_refused_by_name(
    client: Client, method: str, path: str, body: dict[str, object]
) -> None:
    answer = await client.request(method, path, json={**body, "raeson": "x"}, headers=BY_AB)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["parameter"] == "raeson"


async def test_a_line_is_removed_without_a_body(client: Client, control: StillControl) -> None:
    answer = await client.delete("/api/v1/lines/ph", headers=BY_AB)
    assert answer.json() == {"ledger_number": 7, "line": None}
    assert control.asked == [("remove", "ph", Act("AB"))]


async def test_a_line_is_removed_for_a_reason(client: Client, control: StillControl) -> None:
    await client.delete("/api/v1/lines/ph", params={"reason": "sold"}, headers=BY_AB)
    assert control.asked == [("remove", "ph", Act("AB", "sold"))]


async def test_stopping_needs_no_body(client: Client, control: StillControl) -> None:
    assert (await client.post("/api/v1/lines/ph/stop", headers=BY_AB)).json()["line"]["line"] == "ph"
    assert control.asked == [("stop", "ph", Act("AB"))]


async def test_a_new_line_has_an_address(client: Client) -> None:
    answer = await client.post("/api/v1/lines", json={"line": TABLE}, headers=BY_AB)
    assert answer.headers["location"] == "/api/v1/lines/ph"


async def test_what_a_reload_changed_is_told_by_act(client: Client) -> None:
    answer = (await client.post("/api/v1/reload", headers=BY_AB)).json()
    assert answer == {"ledger_number": 7, "added": ["so2"], "changed": ["ph"], "started": [], "removed": []}


async def test_settings_come_with_the_file_that_says_them(client: Client) -> None:
    answer = (await client.get("/api/v1/lines/ph/settings")).json()
    assert answer == {"line": {"name": "ph", "kind": "serial"}, "file": "tundish.toml"}


async def test_every_fault_of_a_line_is_told_at_once(client: Client, control: StillControl) -> None:
    faults = [
        ParameterFault(parameter=f"line[ph].{key}", location="body", detail="is missing")
        for key in ("driver", "instrument")
    ]
    control.refusal = ProblemError(HTTPStatus.UNPROCESSABLE_ENTITY, "nothing was changed", faults)
    answer = await client.post("/api/v1/lines", json={"line": TABLE}, headers=BY_AB)
    assert answer.status_code == 422
    assert [fault["parameter"] for fault in answer.json()["errors"]] == [
        "line[ph].driver",
        "line[ph].instrument",
    ]
