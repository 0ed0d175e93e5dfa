"""Keys on a machine without a screen: the first one before the daemon runs, the others while it does."""

import json
import ssl
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from tests.integration.bench_run import LIMIT_S, PLAIN, config_text, daemon, free_port, refused
from tests.unit.tundish.test_network import self_signed

pytestmark = pytest.mark.needs("openssl")


def said(*arguments: str, words: str = "") -> str:
    """Return what a call of the program prints."""
    call = [sys.executable, "-c", "from tundish.cli import main; main()", *arguments]
    done = subprocess.run(
        call, capture_output=True, text=True, timeout=LIMIT_S, check=False, input=words or None
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_the_network_is_served_once_there_is_a_key_and_only_to_who_has_one(tmp_path: Path) -> None:
    self_signed(tmp_path)
    port, outer = free_port(), free_port()
    config = tmp_path / "tundish.toml"
    config.write_text(
        config_text(port, [])
        + f'[network]\nhost = "127.0.0.1"\nport = {outer}\ncert_file = "cert.pem"\nkey_file = "key.pem"\n',
        encoding="utf-8",
    )
    where = ("--config", str(config))
    assert "there is no key" in refused("run", *where)
    assert said("people", "add", "AB", "--role", "manager", *where).startswith("AB is entered as manager")
    first = said("keys", "add", "sheet", *where)
    assert first.startswith("tundish_")

    with daemon(config, port) as running:
        second = said("keys", "add", "desk", "--scope", "bench", "--actor", "AB", *where)
        listed = json.loads(said("keys", "list", "--json", *where))
        assert (listed[0]["name"], listed[0]["scope"], listed[0]["made_by"]) == ("desk", "bench", "AB")
        assert running.get("/api/v1/people/AB")["fields"]["roles"] == ["manager"]

        outside = f"https://127.0.0.1:{outer}"
        trusted = ssl.create_default_context(cafile=str(tmp_path / "cert.pem"))
        with httpx.Client(base_url=outside, verify=trusted, timeout=LIMIT_S) as client:
            assert client.get("/api/v1/health").status_code == 401
            assert client.get("/api/v1/health", params={"key": first}).status_code == 200
            assert client.get("/api/v1/health", auth=("any", second)).status_code == 200
            said("keys", "revoke", str(listed[-1]["number"]), *where)
            assert client.get("/api/v1/health", params={"key": first}).status_code == 401
        assert httpx.get(f"{running.url}/api/v1/health", verify=PLAIN).status_code == 200
        assert running.stop() == 0
    log = running.log.read_text(encoding="utf-8")
    assert "key.refused" in log
    assert first not in log
    assert second not in log
    assert said("keys", "list", *where).count("revoked") == 1


def test_a_daemon_that_wants_a_key_even_here_takes_it_from_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    port = free_port()
    config = tmp_path / "tundish.toml"
    config.write_text(config_text(port, []) + "keyless = false\n", encoding="utf-8")
    where = ("--config", str(config))
    key = said("keys", "add", "desk", "--scope", "manage", *where)
    address = f"http://127.0.0.1:{port}/api/v1/health"

    def serves() -> bool:
        try:
            return httpx.get(address, verify=PLAIN, timeout=LIMIT_S).status_code == 401
        except httpx.TransportError:
            return False

    with daemon(config, port, serves=serves):
        assert "a key is wanted here" in refused("keys", "list", *where)
        monkeypatch.setenv("TUNDISH_KEY", key)
        assert "desk" in said("keys", "list", *where)


def test_what_the_rules_of_keys_forbid_is_one_clear_line(tmp_path: Path) -> None:
    config = tmp_path / "tundish.toml"
    config.write_text(config_text(free_port(), []), encoding="utf-8")
    where = ("--config", str(config))
    said("keys", "add", "sheet", *where)
    assert "is called 'sheet'" in refused("keys", "add", "sheet", *where)
    assert "cannot be a name" in refused("keys", "add", "a sheet", *where)
    assert refused("keys", "revoke", "999", *where) == "tundish: there is no key 999"
    said("people", "add", "AB", *where)
    assert "there is a person 'AB' already" in refused("people", "add", "AB", *where)
