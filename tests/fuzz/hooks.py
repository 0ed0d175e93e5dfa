"""What every answer to a fuzzer must hold beside the fuzzer's own checks; it loads this module by name."""

import json
from typing import Any

import schemathesis

PROBLEM = "application/problem+json"
NAMES_WHAT = {400, 422}


@schemathesis.check
def refusal_says_why(_context: Any, response: Any, case: Any) -> None:
    """Hold every refusal to a problem document that says what was wrong, and where or by which rule."""
    if response.status_code < 400 or case.method.upper() == "HEAD":
        return
    kinds = response.headers.get("content-type", [""])
    assert kinds == [PROBLEM] or kinds == PROBLEM, f"a refusal came as {kinds}"
    said = json.loads(response.content)
    assert said["status"] == response.status_code
    assert said["detail"].strip()
    assert case.headers is None or "tundish_" not in said["detail"]
    if response.status_code in NAMES_WHAT and said["detail"].startswith("the parameter"):
        assert said["errors"], "it names no parameter"
