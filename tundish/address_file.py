"""Where the daemon that holds a store serves, written beside the store for the commands of this machine."""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


def _file_of(store: Path) -> Path:
    return store.with_name(f"{store.name}.address")


@contextmanager
def told_beside(store: Path, address: str) -> Iterator[None]:
    """Write the address beside a store for as long as the block runs; if that cannot be, nothing is told."""
    file = _file_of(store)
    with suppress(OSError):
        file.write_text(address + "\n", encoding="ascii")
    try:
        yield
    finally:
        with suppress(OSError):
            file.unlink(missing_ok=True)


def address_beside(store: Path) -> str | None:
    """Return where the daemon that holds a store serves, as far as it said so; it may have ended since."""
    try:
        text = _file_of(store).read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        return None
    return text if text.startswith("http://") else None
