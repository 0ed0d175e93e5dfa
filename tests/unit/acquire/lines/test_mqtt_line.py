import asyncio
import subprocess
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from acquire.clock import SystemClock
from acquire.config import MqttSource, TlsSettings
from acquire.errors import PortAbsentError, PortForbiddenError, PortUnavailableError, TransportError
from acquire.lines.mqtt_line import TURN_BYTES, MqttLine
from acquire.lines.transport import Batch, End
from acquire.sink import Ending
from tests.fakes.broker_client import publish
from tests.fakes.scripted_broker import NOT_AUTHORISED, SESSION_TAKEN_OVER, scripted_broker
from tests.services.mosquitto import Mosquitto

pytestmark = pytest.mark.needs("mosquitto")

TOPIC = "bench/far/ph"
LIMIT_S = 15.0  # [s]


def source_of(broker: Mosquitto) -> MqttSource:
    return MqttSource(broker.host, TOPIC, "tundish-test-ph", broker.port)


@asynccontextmanager
async def opened(source: MqttSource) -> AsyncIterator[MqttLine]:
    line = MqttLine(source, SystemClock())
    await line.open()
    try:
        yield line
    finally:
        await line.close()


async def heard(line: MqttLine, size: int, *, kept: bool = True) -> bytes:
    """Take until so many bytes came; they are kept unless said otherwise."""
    data = b""
    async with asyncio.timeout(LIMIT_S):
        while len(data) < size:
            batch = await _next(line)
            assert batch.end is None
            data += b"".join(piece.data for piece in batch.pieces)
            if kept:
                line.kept()
    return data


async def end_of(line: MqttLine) -> End:
    async with asyncio.timeout(LIMIT_S):
        while True:
            batch = await _next(line)
            if batch.end is not None:
                return batch.end


async def _next(line: MqttLine) -> Batch:
    await line.wait()
    return line.take()


async def test_messages_arrive_as_pieces_in_their_order(mosquitto: Mosquitto) -> None:
    async with opened(source_of(mosquitto)) as line:
        await publish(mosquitto, TOPIC, [b"pH 3.4", b"1\r\npH", b" 3.42\r\n"])
        assert await heard(line, 18) == b"pH 3.41\r\npH 3.42\r\n"


async def test_an_opening_names_broker_topic_and_client(mosquitto: Mosquitto) -> None:
    line = MqttLine(source_of(mosquitto), SystemClock())
    opening = await line.open()
    await line.close()
    assert opening.device == f"mqtt://127.0.0.1:{mosquitto.port}/bench/far/ph"
    assert opening.settings == "QoS 1, client tundish-test-ph"


async def test_what_was_published_while_the_line_was_away_comes_when_it_is_back(mosquitto: Mosquitto) -> None:
    async with opened(source_of(mosquitto)):
        pass
    await publish(mosquitto, TOPIC, [b"pH 3.41\r\n", b"pH 3.42\r\n"])
    async with opened(source_of(mosquitto)) as line:
        assert await heard(line, 18) == b"pH 3.41\r\npH 3.42\r\n"


async def test_what_was_not_kept_comes_again_and_what_was_kept_does_not(mosquitto: Mosquitto) -> None:
    async with opened(source_of(mosquitto)) as line:
        await publish(mosquitto, TOPIC, [b"kept "])
        await heard(line, 5)
        await publish(mosquitto, TOPIC, [b"lost "])
        await heard(line, 5, kept=False)
    async with opened(source_of(mosquitto)) as line:
        await publish(mosquitto, TOPIC, [b"new"])
        assert await heard(line, 8) == b"lost new"


async def test_no_more_than_a_few_messages_wait_unkept(mosquitto: Mosquitto) -> None:
    async with opened(source_of(mosquitto)) as line:
        await publish(mosquitto, TOPIC, [b"%02d;" % number for number in range(50)])
        first = await heard(line, 60, kept=False)
        assert len(first) == 60, "the broker waits after twenty messages until one is acknowledged"
        line.kept()
        assert (first + await heard(line, 90)).decode() == "".join(f"{number:02d};" for number in range(50))


async def test_a_turn_takes_a_bounded_part_of_a_flood(mosquitto: Mosquitto) -> None:
    sizes: list[int] = []
    async with opened(source_of(mosquitto)) as line:
        await publish(mosquitto, TOPIC, [bytes(5_000)] * 15)
        async with asyncio.timeout(LIMIT_S):
            while sum(sizes) < 75_000:
                sizes.append(sum(len(piece.data) for piece in (await _next(line)).pieces))
    assert max(sizes) < TURN_BYTES + 5_000


async def test_a_retained_value_of_yesterday_is_no_news(mosquitto: Mosquitto) -> None:
    await publish(mosquitto, TOPIC, [b"pH 2.99\r\n"], retain=True)
    async with opened(source_of(mosquitto)) as line:
        await publish(mosquitto, TOPIC, [b"pH 3.41\r\n"])
        assert await heard(line, 9) == b"pH 3.41\r\n"


async def test_another_topic_of_an_earlier_configuration_is_left_alone(mosquitto: Mosquitto) -> None:
    async with opened(replace(source_of(mosquitto), topic="bench/far/old")):
        pass
    async with opened(source_of(mosquitto)) as line:
        await publish(mosquitto, "bench/far/old", [b"T 20.4\r\n"])
        await publish(mosquitto, TOPIC, [b"pH 3.41\r\n"])
        assert await heard(line, 9) == b"pH 3.41\r\n"


async def test_a_broker_that_ends_is_a_lost_line(mosquitto: Mosquitto) -> None:
    async with opened(source_of(mosquitto)) as line:
        mosquitto.stop()
        end = await end_of(line)
    assert end.ending is Ending.LOST
    assert end.why.startswith(f"the broker at mqtt://127.0.0.1:{mosquitto.port}/bench/far/ph was lost")


async def test_a_restarted_broker_lost_nothing_that_was_not_kept(mosquitto: Mosquitto) -> None:
    async with opened(source_of(mosquitto)) as line:
        await publish(mosquitto, TOPIC, [b"pH 3.41\r\n"])
        await heard(line, 9, kept=False)
        mosquitto.stop()
        await end_of(line)
    mosquitto.start()
    await publish(mosquitto, TOPIC, [b"pH 3.42\r\n"])
    async with opened(source_of(mosquitto)) as line:
        assert await heard(line, 18) == b"pH 3.41\r\npH 3.42\r\n"


async def test_a_message_whose_acknowledgement_was_lost_is_not_taken_twice(mosquitto: Mosquitto) -> None:
    line = MqttLine(source_of(mosquitto), SystemClock())
    await line.open()
    await publish(mosquitto, TOPIC, [b"pH 3.41\r\n"])
    await heard(line, 9, kept=False)
    mosquitto.stop()
    line.kept()
    await end_of(line)
    await line.close()
    mosquitto.start()
    await line.open()
    await publish(mosquitto, TOPIC, [b"pH 3.42\r\n"])
    assert await heard(line, 9) == b"pH 3.42\r\n"
    await line.close()


async def test_two_programs_with_one_client_id_are_told_of_it(mosquitto: Mosquitto) -> None:
    async with opened(source_of(mosquitto)) as line, opened(source_of(mosquitto)):
        end = await end_of(line)
    assert "another program uses the client id 'tundish-test-ph' too" in end.why


async def test_a_broker_that_says_that_another_program_took_over_is_believed() -> None:
    async with (
        scripted_broker(last_word=SESSION_TAKEN_OVER) as port,
        opened(MqttSource("127.0.0.1", TOPIC, "tundish-test-ph", port)) as line,
    ):
        end = await end_of(line)
    assert end.why.startswith("another program took over")


async def test_a_stopped_line_gives_what_waits_and_ends(mosquitto: Mosquitto) -> None:
    async with opened(source_of(mosquitto)) as line:
        await publish(mosquitto, TOPIC, [b"pH 3.41\r\n"])
        await line.wait()
        line.stop()
        batch = line.take()
    assert [piece.data for piece in batch.pieces] == [b"pH 3.41\r\n"]
    assert batch.end is not None
    assert batch.end.ending is Ending.STOPPED


async def test_no_broker_is_an_absent_port(mosquitto: Mosquitto) -> None:
    mosquitto.stop()
    line = MqttLine(source_of(mosquitto), SystemClock())
    with pytest.raises(PortAbsentError, match=r"no broker answers at mqtt://127\.0\.0\.1"):
        await line.open()
    await line.close()


async def test_a_broker_that_hangs_is_given_up(mosquitto: Mosquitto) -> None:
    mosquitto.freeze()
    line = MqttLine(source_of(mosquitto), SystemClock())
    with pytest.raises(PortAbsentError, match="no broker answers"):
        await line.open()
    await line.close()


async def test_nothing_can_be_sent_to_a_topic(mosquitto: Mosquitto) -> None:
    line = MqttLine(source_of(mosquitto), SystemClock())
    assert not line.takes_bytes
    with pytest.raises(TransportError, match="only listened to"):
        await line.send(b"ACK")


async def _refusal(source: MqttSource) -> PortUnavailableError:
    line = MqttLine(source, SystemClock())
    with pytest.raises(PortUnavailableError) as caught:
        await line.open()
    await line.close()
    return caught.value


async def test_a_wrong_password_is_said_and_not_shown(tmp_path: Path) -> None:
    broker = Mosquitto(tmp_path, passwords={"bench": "must"})
    broker.start()
    try:
        source = replace(source_of(broker), user="bench", password="pomace")
        refusal = await _refusal(source)
        assert isinstance(refusal, PortForbiddenError)
        assert "correct user and password" in str(refusal)
        assert "pomace" not in str(refusal) + repr(source)
        async with opened(replace(source, password="must")):
            pass
    finally:
        broker.kill()


async def test_a_topic_that_may_not_be_read_is_refused_in_words() -> None:
    async with scripted_broker(granted=NOT_AUTHORISED) as port:
        refusal = await _refusal(MqttSource("127.0.0.1", TOPIC, "tundish-test-ph", port))
    assert isinstance(refusal, PortForbiddenError)
    assert "does not let us subscribe" in str(refusal)


@pytest.fixture
def certificate(tmp_path: Path) -> tuple[Path, Path]:
    """Return a certificate for this machine's loopback address, which is its own authority, and its key."""
    certificate, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    command = (
        "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 -subj /CN=bench "
        f"-addext subjectAltName=IP:127.0.0.1 -out {certificate} -keyout {key}"
    )
    subprocess.run(command.split(), check=True, capture_output=True)
    return certificate, key


@pytest.mark.needs("openssl")
@pytest.mark.parametrize("trusted", [True, False])
async def test_over_tls_only_a_broker_whose_authority_is_named_is_trusted(
    tmp_path: Path, certificate: tuple[Path, Path], trusted: bool
) -> None:
    broker = Mosquitto(tmp_path / "mosquitto", tls=certificate)
    broker.start()
    try:
        source = replace(source_of(broker), tls=TlsSettings(certificate[0] if trusted else None))
        if trusted:
            async with opened(source):
                assert str(source).startswith("mqtts://")
        else:
            assert "is not trusted" in str(await _refusal(source))
    finally:
        broker.kill()


async def test_a_missing_certificate_file_is_told_before_anything_is_sent(tmp_path: Path) -> None:
    source = MqttSource("127.0.0.1", TOPIC, "x", 1, tls=TlsSettings(tmp_path / "none.pem"))
    assert "correct the files that tls names" in str(await _refusal(source))
