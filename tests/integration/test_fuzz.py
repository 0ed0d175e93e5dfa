"""A fuzzer that reads the description finds nothing: fixed seed, bounded time. `make fuzz` looks longer."""

from pathlib import Path

from tests.fuzz.served import fuzz, served

LENGTH_S = "30"
SEED = "1"


def test_what_the_description_says_is_what_is_answered(tmp_path: Path) -> None:
    with served(tmp_path) as address:
        phases = ("--phases", "examples,coverage")
        code, said, report = fuzz(address, tmp_path, *phases, "--max-time", LENGTH_S, "--seed", SEED)
    found = [(one["title"], one["operations"]) for one in report["failures"]]
    assert found == [], said
    assert report["errors"] == []
    assert report["operations"]["tested"] > 20
    assert report["test_cases"]["generated"] > 100
    assert code == 0, said
