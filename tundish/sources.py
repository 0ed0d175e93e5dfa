"""From what the configuration says of a line to where its bytes come from."""

import platform
import re
from pathlib import Path

from acquire.config import (
    CaptureFileSource,
    DevicePath,
    FarSource,
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
    BrokerConfig,
    CaptureFileLineConfig,
    FarLineConfig,
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
        case FarLineConfig():
            return _far(line, folder)
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
    client_id = line.client_id or f"tundish-{_machine()}-{line.name}"
    return broker_source(line, line.topic, client_id, folder)


def _far(line: FarLineConfig, folder: Path) -> FarSource:
    client_id = line.client_id or f"tundish-{_machine()}-{line.name}"
    topic = f"{line.root}/{line.site}/v1/capture/{line.far_line}"
    mqtt = broker_source(line, topic, client_id, folder)
    key = read_password(line.key_env, line.key_file, folder, what="key")
    return FarSource(mqtt, line.site, line.far_line, line.far_instrument, line.url, key)


def broker_source(broker: BrokerConfig, topic: str, client_id: str, folder: Path) -> MqttSource:
    """Return a topic of a broker as one client sees it; paths count from `folder`.

    Raises
    ------
    PasswordError
        If the password that is named cannot be had.
    """
    tls = None
    if broker.tls is not None:
        files = (broker.tls.ca_file, broker.tls.cert_file, broker.tls.key_file)
        tls = TlsSettings(*(None if file is None else folder / file for file in files))
    return MqttSource(
        host=broker.host,
        topic=topic,
        client_id=client_id,
        port=broker.port or (PLAIN_PORT if tls is None else TLS_PORT),
        user=broker.user,
        password=read_password(broker.password_env, broker.password_file, folder),
        tls=tls,
    )


def _machine() -> str:
    return re.sub(r"[^A-Za-z0-9._-]", "-", platform.node())[:20] or "here"
