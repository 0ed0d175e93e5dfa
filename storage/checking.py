"""Walk the ledger of a store wherever it lies, while a daemon may be writing it."""

from pathlib import Path

from sqlalchemy.exc import DatabaseError

from storage.backup import verify_file
from storage.errors import NotAStoreError, StoreUnreachableError
from storage.file_place import FilePlace
from storage.ledger import Head
from storage.place import Place, place_of
from storage.schema_version import check
from storage.trouble import in_words
from storage.verify import Progress, Verdict, verify


def verify_store(
    address: str | Path | Place, *, expected: Head | None = None, progress: Progress | None = None
) -> Verdict:
    """Recompute every digest and link; see `storage.verify`.

    Raises
    ------
    BackupError, NotAStoreError, NewerStoreError, StoreUnreachableError, StoreAddressError
        If there is no store that this program knows, or it cannot be reached.
    """
    place = place_of(address)
    if isinstance(place, FilePlace):
        return verify_file(place.path, expected=expected, progress=progress)
    engine = place.reading_engine()
    try:
        with engine.begin() as connection:
            if check(connection, str(place)) is None:
                raise NotAStoreError(str(place), "it has no tables")
            return verify(connection, expected=expected, progress=progress or (lambda _done, _all: None))
    except DatabaseError as error:
        raise StoreUnreachableError(str(place), in_words(error), place.advice) from error
    finally:
        engine.dispose()
