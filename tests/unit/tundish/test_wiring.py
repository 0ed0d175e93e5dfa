"""From the configuration to lines."""

from pathlib import Path

import pytest

from acquire.config import (
    CaptureFileSource,
    DevicePath,
    FolderSource,
    MqttSource,
    PortUrl,
    SerialSource,
    TlsSettings,
    UsbIdentity,
)
from tests.fakes.table_drivers import rows
from tundish.config import load_config
from tundish.config_faults import ConfigError
from tundish.wiring import UNSURE_BEGINNING, LinePlan, line_plans


def plan_of(folder: Path, keys: str, driver: str = "so2-burette") -> LinePlan:
    file = folder / "tundish.toml"
    file.write_text(f'[[line]]\nname = "a"\ninstrument = "x"\ndriver = "{driver}"\n{keys}', encoding="utf-8")
    (plan,) = line_plans(load_config(file), folder)
    return plan


@pytest.mark.parametrize(
    ("key", "port"),
    [
        ('device = "COM7"', DevicePath("COM7")),
        ('url = "socket://192.0.2.7:4001"', PortUrl("socket://192.0.2.7:4001")),
        ('usb = { vid = 1, pid = 2, serial = "A" }', UsbIdentity(1, 2, "A")),
    ],
)
def test_a_serial_line_is_found_as_it_is_configured(tmp_path: Path, key: str, port: object) -> None:
    source = plan_of(tmp_path, f'kind = "serial"\n{key}\nparity = "even"\ndata_bits = 7\n').settings.source
    assert isinstance(source, SerialSource)
    assert source.port == port
    assert str(source.settings) == "9600 7E1"


def test_a_capture_file_counts_from_the_folder_of_the_configuration(tmp_path: Path) -> None:
    source = plan_of(tmp_path, 'kind = "capture-file"\npath = "monday.bin"\n').settings.source
    assert source == CaptureFileSource(tmp_path / "monday.bin")


def test_every_driver_that_cannot_be_had_is_told_at_once(tmp_path: Path) -> None:
    file = tmp_path / "tundish.toml"
    line = '[[line]]\nname = "{0}"\ninstrument = "x"\ndriver = "no-{0}"\nkind = "serial"\ndevice = "COM1"\n'
    file.write_text(line.format("a") + line.format("b"), encoding="utf-8")
    with pytest.raises(ConfigError) as caught:
        line_plans(load_config(file), tmp_path, str(file))
    assert [fault.split(":")[0] for fault in caught.value.faults] == ["line[a].driver", "line[b].driver"]


MQTT = 'kind = "mqtt"\nhost = "broker.example"\ntopic = "bench/far/ph"\n'


def topic_of(folder: Path, keys: str = "") -> MqttSource:
    source = plan_of(folder, MQTT + keys).settings.source
    assert isinstance(source, MqttSource)
    return source


def test_a_topic_has_the_usual_port_and_a_client_id_of_its_own(tmp_path: Path) -> None:
    source = topic_of(tmp_path)
    assert (source.host, source.topic, source.port, source.tls) == (
        "broker.example",
        "bench/far/ph",
        1883,
        None,
    )
    assert source.client_id.startswith("tundish-")
    assert source.client_id.endswith("-a")


def test_with_tls_the_usual_port_is_another_and_files_count_from_the_configuration(tmp_path: Path) -> None:
    source = topic_of(tmp_path, 'tls = { ca_file = "ca.pem" }\n')
    assert source.port == 8883
    assert source.tls == TlsSettings(tmp_path / "ca.pem")


def test_a_password_comes_from_the_first_line_of_a_file(tmp_path: Path) -> None:
    (tmp_path / "secret").write_bytes(b"must and pomace\r\nanything\r\n")
    source = topic_of(tmp_path, 'user = "bench"\npassword_file = "secret"\n')
    assert (source.user, source.password) == ("bench", "must and pomace")


def test_a_password_comes_from_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCH_PASSWORD", "must")
    assert topic_of(tmp_path, 'user = "bench"\npassword_env = "BENCH_PASSWORD"\n').password == "must"


@pytest.mark.parametrize(
    ("key", "fault"),
    [
        ('password_env = "NO_SUCH_BENCH"', "password_env: the environment variable NO_SUCH_BENCH is not set"),
        ('password_file = "none"', "password_file: {folder}/none cannot be read: No such file or directory"),
    ],
)
def test_a_password_that_cannot_be_had_is_a_fault_of_its_line(tmp_path: Path, key: str, fault: str) -> None:
    with pytest.raises(ConfigError) as caught:
        topic_of(tmp_path, f'user = "bench"\n{key}\n')
    assert caught.value.faults == [f"line[a].{fault.format(folder=tmp_path)}"]


def test_a_folder_counts_from_the_folder_of_the_configuration(tmp_path: Path) -> None:
    (tmp_path / "drop.toml").write_text(rows().identity.definition, encoding="utf-8")
    keys = 'kind = "folder"\npath = "drop"\npatterns = ["*.csv"]\npoll_s = 5\n'
    source = plan_of(tmp_path, keys, driver="drop.toml").settings.source
    assert source == FolderSource(tmp_path / "drop", ("*.csv",), poll_s=5.0, quiet_s=2.0)


def test_a_driver_that_refuses_what_comes_first_is_refused_for_a_folder(tmp_path: Path) -> None:
    unsure = rows().identity.definition.replace("distrust_first = false\n", "")
    (tmp_path / "drop.toml").write_text(unsure, encoding="utf-8")
    with pytest.raises(ConfigError) as caught:
        plan_of(tmp_path, 'kind = "folder"\npath = "drop"\n', driver="drop.toml")
    assert caught.value.faults == [f"line[a].driver: {UNSURE_BEGINNING}"]
