"""The API over one store in a process of its own, until its standard input ends: ``… FILE``."""

import asyncio
import sys
import threading

import tundish.lean  # noqa: F401 - first, as in the daemon: what it leaves out would count as memory
from api.app import close_app, create_app, end_streams
from storage.store import open_store
from tests.fakes.api_services import still_services
from tests.fakes.filled_store import NOON_US
from tundish.web import bind, server


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
        sys.stdin.read()
        end_streams(app)
        web.should_exit = True
        thread.join()
    close_app(app)
    store.close()


if __name__ == "__main__":
    main()
