"""The API over one store in a process of its own, until its standard input ends: ``… FILE``.

Between a line ``begin`` and a line ``end`` it commits a hundred times a second, and then says the 99th
percentile of how long a commit took. [s]
"""

import asyncio
import sys
import threading
import time

import tundish.lean  # noqa: F401 - first, as in the daemon: what it leaves out would count as memory
from api.app import close_app, create_app, end_streams
from storage.ledger import ActorKind
from storage.rows import FaultRow
from storage.store import Store, open_store
from storage.transaction import Transaction
from tests.fakes.api_services import still_services
from tests.fakes.filled_store import NOON_US
from tundish.web import bind, server


class Committing:
    """Commits an entry a hundred times a second, until it is asked how long that took."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._took: list[float] = []
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._commit)
        self._thread.start()

    def _commit(self) -> None:
        while not self._ending.wait(0.01):
            begun = time.perf_counter()
            self._store.writer.submit(_enter).result()
            self._took.append(time.perf_counter() - begun)

    def p99_s(self) -> float:
        """End, and return the 99th percentile. [s]"""
        self._ending.set()
        self._thread.join()
        return sorted(self._took)[int(len(self._took) * 0.99)]


def _enter(transaction: Transaction) -> int:
    rows = {"fault": [FaultRow(None, None, "speed", "a commit")]}
    return transaction.enter(
        "speed.told", at_us=NOON_US, actor="speed", actor_kind=ActorKind.DAEMON, rows=rows
    )


def main() -> None:
    """Serve, say where, and end with the standard input."""
    store = open_store(sys.argv[1], kind="demo", clock_us=lambda: NOON_US)
    app = create_app(still_services(store))
    with bind("127.0.0.1", 0) as listener:
        listener.listen()  # who comes before the server is ready waits
        web = server(app)
        thread = threading.Thread(target=lambda: asyncio.run(web.serve(sockets=[listener])))
        thread.start()
        print(f"http://127.0.0.1:{listener.getsockname()[1]}", flush=True)
        committing: Committing | None = None
        for line in sys.stdin:
            if line.strip() == "begin":
                committing = Committing(store)
            elif committing is not None:
                print(committing.p99_s(), flush=True)
        end_streams(app)
        web.should_exit = True
        thread.join()
    close_app(app)
    store.close()


if __name__ == "__main__":
    main()
