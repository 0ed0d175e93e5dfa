"""The network is served with keys and TLS, or where the file says loudly that it shall be without."""

import subprocess
from pathlib import Path

import pytest
from structlog.testing import capture_logs

from api.keys import Scope
from storage.queries.keys import good_key_named
from storage.store import Store
from tests.fakes.keys import hand_out, take_back
from tundish.assembly import api_settings
from tundish.config import load_config
from tundish.config_faults import ConfigError
from tundish.errors import AddressError
from tundish.network import certificate, refuse_unprotected
from tundish.network_config import NetworkConfig

TLS = {"cert_file": "cert.pem", "key_file": "key.pem"}


def self_signed(folder: Path, *more: str) -> None:
    """Make a certificate that the bench signs for itself."""
    call = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -days 2 -subj /CN=bench"
    call += " -addext subjectAltName=IP:127.0.0.1 -keyout key.pem -out cert.pem"
    subprocess.run([*call.split(), *(more or ("-nodes",))], cwd=folder, check=True, capture_output=True)


def network(**keys: object) -> NetworkConfig:
    return NetworkConfig.model_validate({"host": "192.0.2.10", **keys})


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ('host = "192.0.2.10"', "network: is refused without TLS"),
        ('host = "192.0.2.10"\ncert_file = "a"', "network: wants cert_file and key_file together"),
        ('host = "bench.example"\nwithout_tls = true', "network.host: wants an address of this machine"),
        ('host = "0.0.0.0"\nwithout_tls = true', "network: serves every address of this machine: give the"),
        (
            'host = "::1"\ncert_file = "a"\nkey_file = "b"\nwithout_tls = true',
            "network: has a certificate and says without_tls",
        ),
        ("", "network.host: is missing"),
    ],
)
def test_a_network_that_nothing_protects_is_a_fault_of_the_file(
    tmp_path: Path, text: str, fault: str
) -> None:
    file = tmp_path / "tundish.toml"
    file.write_text(f"[network]\n{text}\n", encoding="utf-8")
    with pytest.raises(ConfigError) as caught:
        load_config(file)
    assert [one for one in caught.value.faults if one.startswith(fault)]


def test_the_names_of_the_network_are_those_of_its_host_header(tmp_path: Path) -> None:
    file = tmp_path / "tundish.toml"
    file.write_text(
        '[api]\nallowed_hosts = ["here"]\nkeyless = false\naudit_reads = true\n'
        '[network]\nhost = "2001:db8::7"\nnames = ["bench.example"]\n'
        "without_tls = true\nwithout_keys = true\n",
        encoding="utf-8",
    )
    config = load_config(file)
    settings = api_settings(config)
    assert settings.allowed_hosts == ("here", "[2001:db8::7]", "bench.example")
    assert (settings.loopback_open, settings.network_open, settings.audit_reads) == (False, True, True)
    assert config.network is not None
    assert config.network.url == "http://[2001:db8::7]:8711"


def test_without_the_table_nothing_of_the_network_is_served(tmp_path: Path) -> None:
    file = tmp_path / "tundish.toml"
    file.write_text("", encoding="utf-8")
    config = load_config(file)
    assert config.network is None
    assert (api_settings(config).loopback_open, api_settings(config).network_open) == (True, False)


def test_a_network_without_a_key_is_refused_with_how_to_make_one(store: Store, tmp_path: Path) -> None:
    with pytest.raises(AddressError, match="make one with `tundish keys add"):
        refuse_unprotected(store, network(without_tls=True), tmp_path)


def test_a_revoked_key_protects_nothing(store: Store, tmp_path: Path) -> None:
    hand_out(store, "old", Scope.READ)
    with store.reader() as connection:
        held = good_key_named(connection, "old")
    assert held is not None
    take_back(store, held.number)
    with pytest.raises(AddressError, match="there is no key"):
        refuse_unprotected(store, network(without_tls=True), tmp_path)


def test_what_is_left_unprotected_on_purpose_is_said_at_each_start(store: Store, tmp_path: Path) -> None:
    with capture_logs() as entries:
        refuse_unprotected(store, network(without_tls=True, without_keys=True), tmp_path)
    assert [entry["event"] for entry in entries] == ["network.unprotected"] * 2
    assert "without_keys" in entries[0]["why"]
    assert "without_tls" in entries[1]["why"]


@pytest.mark.needs("openssl")
def test_a_network_with_a_key_and_a_certificate_is_served_without_a_word(
    store: Store, tmp_path: Path
) -> None:
    hand_out(store, "sheet", Scope.READ)
    self_signed(tmp_path)
    with capture_logs() as entries:
        refuse_unprotected(store, network(**TLS), tmp_path)
    assert entries == []
    assert certificate(network(**TLS), tmp_path) == (tmp_path / "cert.pem", tmp_path / "key.pem")


@pytest.mark.parametrize("content", [None, "no certificate"])
def test_a_certificate_that_cannot_be_used_is_named(
    store: Store, tmp_path: Path, content: str | None
) -> None:
    hand_out(store, "sheet", Scope.READ)
    if content is not None:
        (tmp_path / "cert.pem").write_text(content, encoding="utf-8")
    with pytest.raises(AddressError, match=r"cert.pem with key_file .*key.pem cannot be used"):
        refuse_unprotected(store, network(**TLS), tmp_path)


@pytest.mark.needs("openssl")
def test_a_private_key_with_a_password_is_refused_at_once(store: Store, tmp_path: Path) -> None:
    hand_out(store, "sheet", Scope.READ)
    self_signed(tmp_path, "-passout", "pass:secret")
    with pytest.raises(AddressError, match="wants a password"):
        refuse_unprotected(store, network(**TLS), tmp_path)
