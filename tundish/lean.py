"""Load the logging library without the console toolkit that it takes along when it finds it.

The toolkit draws coloured tracebacks, which a service that runs for months never shows; it costs a tenth of
the start and 7 MiB. Import this module before anything that logs. Commands that draw load the toolkit
themselves.
"""

import sys


def _load() -> None:
    if "rich" in sys.modules or "structlog" in sys.modules:
        return
    sys.modules["rich"] = None  # type: ignore[assignment]  # the language's own way to say: not to be found
    try:
        import structlog  # noqa: F401
    finally:
        del sys.modules["rich"]


_load()
