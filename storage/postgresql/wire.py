"""What a COPY sends, taken from the client library: to ask the driver for each line costs as much again."""

import selectors
from io import BytesIO
from typing import Any, NamedTuple

from storage.postgresql.connect import driver as load_driver


class Received(NamedTuple):
    """All lines of a COPY."""

    text: bytes
    """As the server sends them: each ends with a line feed."""
    last: bytes
    """The last of them; nothing if there is none."""
    lines: int


def received(connection: Any, statement: str, values: dict[str, object]) -> Received:
    """Return the lines of a ``COPY … TO STDOUT``.

    Parameters
    ----------
    connection : psycopg.Connection
        In no other use; may be amid a transaction.
    statement : str
        With parameters such as ``%(name)s``.
    values : dict of str to object
        Of the parameters.

    Raises
    ------
    psycopg.Error
        If the server refuses it or is gone, of the class that its SQLSTATE has.
    """
    psycopg = load_driver()
    wire, status = connection.pgconn, psycopg.pq.ExecStatus
    whole = psycopg.ClientCursor(connection).mogrify(statement, values)  # a COPY takes no parameters
    _expect(wire.exec_(whole.encode()), status.COPY_OUT)
    found, outcome = _lines(wire), wire.get_result()
    while wire.get_result() is not None:
        pass  # until there is nothing, the library takes no other command
    _expect(outcome, status.COMMAND_OK)
    return found


def _lines(wire: Any) -> Received:
    text, count, last = BytesIO(), 0, b""
    with selectors.DefaultSelector() as sent:
        sent.register(wire.socket, selectors.EVENT_READ)
        while True:
            size, line = wire.get_copy_data(1)
            if size > 0:
                text.write(line)  # and let go of its memory, which the next line takes
                last, count = line, count + 1
            elif size == 0:
                sent.select()
                wire.consume_input()
            else:
                return Received(text.getvalue(), bytes(last), count)


def _expect(result: Any, status: Any) -> None:
    """Raise what the server said instead."""
    if result is not None and result.status == status:
        return
    psycopg = load_driver()
    if result is None or result.error_field(psycopg.pq.DiagnosticField.SQLSTATE) is None:
        raise psycopg.OperationalError(result.get_error_message() if result else "the server went away")
    raise psycopg.errors.error_from_result(result)
