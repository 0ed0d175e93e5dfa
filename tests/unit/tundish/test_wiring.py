"""From the configuration to lines."""

from pathlib import Path

import pytest

from acquire.config import CaptureFileSource, DevicePath, PortUrl, SerialSource, UsbIdentity
from tundish.config import load_config
from tundish.config_faults import ConfigError
from tundish.wiring import LinePlan, line_plans


def plan_of(folder: Path, keys: str) -> LinePlan:
    file = folder / "tundish.toml"
    file.write_text(
        f'[[line]]\nname = "a"\ninstrument = "x"\ndriver = "so2-burette"\n{keys}', encoding="utf-8"
    )
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
