"""A broker that says what a test wants to hear, for answers that the real one cannot be brought to give.

Packets are those of MQTT 5.0 (OASIS, 2019), sections 3.1, 3.2, 3.8, 3.9 and 3.14.
"""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

CONNACK = bytes((0x20, 3, 0, 0, 0))  # accepted, no session, no properties
SUBACK, DISCONNECT = 0x90, 0xE0
SUBSCRIBE = 0x82
NOT_AUTHORISED, SESSION_TAKEN_OVER = 0x87, 0x8E
GRANTED = 1


@asynccontextmanager
async def scripted_broker(granted: int = GRANTED, last_word: int | None = None) -> AsyncIterator[int]:
    """Serve on a free port, which is yielded: answer a subscription, then perhaps take leave for a reason."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            await _packet(reader)
            writer.write(CONNACK)
            kind, body = await _packet(reader)
            assert kind == SUBSCRIBE
            writer.write(bytes((SUBACK, 4, *body[:2], 0, granted)))
            if last_word is not None:
                writer.write(bytes((DISCONNECT, 2, last_word, 0)))
                await writer.drain()
                return
            await reader.read()
        finally:
            writer.close()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    port: int = server.sockets[0].getsockname()[1]
    try:
        yield port
    finally:
        server.close()
        await server.wait_closed()


async def _packet(reader: asyncio.StreamReader) -> tuple[int, bytes]:
    kind, length = await reader.readexactly(2)
    if length >= 0x80:
        (more,) = await reader.readexactly(1)
        length = (length & 0x7F) + 0x80 * more
    return kind, await reader.readexactly(length)
