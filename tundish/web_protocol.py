"""What is no HTTP is answered like every other error: the server's own answer would be plain text."""

import sys
from http import HTTPStatus

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from api.guards import SECURITY_HEADERS
from api.problems import problem_response

MISSING_HOST = "Missing mandatory Host: header"
"""What the library says of a request that names no host, before any of our guards sees it."""


class ProblemProtocol(H11Protocol):
    """Answers a request that cannot be read with a problem document."""

    def send_400_response(self, msg: str) -> None:
        """Write the answer and close; called from where the library's error was caught."""
        error = sys.exception()
        status, said = HTTPStatus.BAD_REQUEST, msg
        if isinstance(error, h11.RemoteProtocolError):
            status, said = HTTPStatus(error.error_status_hint), str(error)
        answer = problem_response(status, _in_words(said), "", headers={"Connection": "close"})
        answer.headers.update(SECURITY_HEADERS)
        head = h11.Response(status_code=status.value, headers=answer.raw_headers, reason=status.phrase)
        for event in (head, h11.Data(data=bytes(answer.body)), h11.EndOfMessage()):
            self.transport.write(self.conn.send(event) or b"")
        self.transport.close()


def _in_words(said: str) -> str:
    if said == MISSING_HOST:
        return "the request has no Host header; send one that names this service, such as Host: 127.0.0.1"
    return f"this is no request that can be read as HTTP: {said}"
