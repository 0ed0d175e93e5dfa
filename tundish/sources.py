"""From what the configuration says of a line to where its bytes come from."""

import platform
import re
from pathlib import Path

from acquire.config import (
    CaptureFileSource,
    DevicePath,
    FlowControl,
    FolderSource,
    MqttSource,
    Parity,
    PortUrl,
    SerialSettings,
    SerialSource,
    Source,
    TlsSettings,
    UsbIdentity,
)
from tundish.line_config import (
    AnyLineConfig,
    CaptureFileLineConfig,
    FolderLineConfig,
    MqttLineConfig,
    SerialLineConfig,
)
from tundish.passwords import read_password

PLAIN_PORT = 1883  # registered for MQTT (IANA, "mqtt")
TLS_PORT = 8883  # registered for MQTT over TLS (IANA, "secure-mqtt")


def source_of(line: AnyLineConfig, folder: Path) -> Source:
    """Return where the bytes of a line come from; paths count from `folder`.

    Raises
    ------
    PasswordError
        If the line names a password that cannot be had.
    """
    match line:
        case CaptureFileLineConfig():
            return CaptureFileSource(folder / line.path)
        case MqttLineConfig():
            return _topic(line, folder)
        case FolderLineConfig():
            return FolderSource(folder / line.path, line.patterns, line.poll_s, line.quiet_s)
        case SerialLineConfig():
            settings = SerialSettings(
                line.baud,
                line.data_bits,
                Parity(line.parity),
                line.stop_bits,
                FlowControl(line.flow_control),
            )
            return SerialSource(_port(line), settings)


def _port(line: SerialLineConfig) -> DevicePath | PortUrl | UsbIdentity:
    if line.device is not None:
        return DevicePath(line.device)
    if line.url is not None:
        return PortUrl(line.url)
    if line.usb is None:  # the model has made sure that one of the three is given
        raise AssertionError(f"line {line.name} has no port")
    usb = line.usb
    return UsbIdentity(usb.vid, usb.pid, usb.serial, usb.interface, usb.location, usb.any)


def _topic(line: MqttLineConfig, folder: Path) -> MqttSource:
    tls = None
    if line.tls is not None:
        files = (line.tls.ca_file, line.tls.cert_file, line.tls.key_file)
        tls = TlsSettings(*(None if file is None else folder / file for file in files))
    return MqttSource(
        host=line.host,
        topic=line.topic,
        client_id=line.client_id or f"tundish-{_machine()}-{line.name}",
        port=line.port or (PLAIN_PORT if tls is None else TLS_PORT),
        user=line.user,
        password=read_password(line.password_env, line.password_file, folder),
        tls=tls,
    )


def _machine() -> str:
    return re.sub(r"[^A-Za-z0-9._-]", "-", platform.node())[:20] or "here"
