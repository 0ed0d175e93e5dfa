"""The examination of a line, as the API shows it."""

import httpx


async def test_an_examination_shows_bytes_counts_control_lines_and_hints(
    client: httpx.AsyncClient,
) -> None:
    answer = await client.get("/api/v1/lines/ph/doctor")
    body = answer.json()
    assert answer.status_code == 200
    assert (body["line"], body["listened_s"], body["heard_bytes"]) == ("ph", 12.5, 5000)
    assert (body["frames_read"], body["frames_refused"], body["refusals"]) == (3, 2, {"not_text": 2})
    assert body["control_lines"] == {"cts": True, "dsr": False, "ri": False, "cd": False}
    assert body["newest"][0]["offset"] == 5000 - 256
    assert body["newest"][-1]["text"].endswith("pH 3.41··")
    assert [hint["code"] for hint in body["hints"]] == ["seven_even"]


async def test_only_a_configured_line_is_examined(client: httpx.AsyncClient) -> None:
    answer = await client.get("/api/v1/lines/redox/doctor")
    assert answer.status_code == 404
    assert "there is no line 'redox'" in answer.json()["detail"]
