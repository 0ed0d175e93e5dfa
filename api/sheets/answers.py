"""Answering a request for a sheet: what has not changed is not sent, what is too long is refused."""

import asyncio
import hashlib
import zlib
from collections.abc import AsyncIterator, Iterator
from http import HTTPStatus
from typing import Annotated, Final

from fastapi import Depends, Request, Response
from sqlalchemy import Connection

from api.callers import NETWORK
from api.dependencies import PartsOf
from api.parameters import refuse_future
from api.problems import bad_parameter
from api.sheets import xlsx
from api.sheets.choices import Asking, Wanted
from api.sheets.exports import FileExport, TextExport, in_turns
from api.sheets.forms import NOT_ROWS, CsvForm, DialectName, Form, XlsxForm
from storage import queries
from storage.csv_text import Sheet, changes_of

CSV_MEDIA_TYPE: Final = "text/csv; charset=utf-8; header=present"
BOM: Final = b"\xef\xbb\xbf"
_GZIP: Final = 31  # the window of zlib that makes a gzip file
_FAST: Final = 1  # level: on a laboratory's network more of it costs more than it saves


class Asked:
    """One request for a sheet."""

    def __init__(self, request: Request, parts: PartsOf) -> None:
        self._request = request
        self._services = parts.services
        self._database = parts.database
        self._exports = parts.exports
        self._settings = parts.services.settings

    @property
    def now_us(self) -> int:
        """The host's clock. [µs]"""
        return self._services.clock_us()

    async def csv(self, form: CsvForm, wanted: Wanted) -> Response:
        """Answer with text, piece by piece."""
        head, headers, done = await self._before(form, wanted, "csv", CSV_MEDIA_TYPE)
        headers["Vary"] = "Accept-Encoding"
        if done is not None:
            return done
        sheet = await self._sheet(wanted, head)
        if form.dialect is not DialectName.STANDARD:
            await self._refuse_too_long(sheet, self._settings.sheet_rows, "dialect", "dialect=standard")
        pieces = sheet.text(form.written(), form.tz)
        if form.bom:
            pieces = _with_bom(pieces)
        if self._pays_to_compress():
            headers["Content-Encoding"] = "gzip"
            pieces = _compressed(pieces)
        self._exports.enter()
        return TextExport(self._exports, self._in_turns(pieces), headers)

    async def xlsx(self, form: XlsxForm, wanted: Wanted) -> Response:
        """Answer with a workbook, once it is whole."""
        head, headers, done = await self._before(form, wanted, "xlsx", xlsx.MEDIA_TYPE)
        if done is not None:
            return done
        sheet = await self._sheet(wanted, head)
        await self._refuse_too_long(sheet, self._settings.workbook_rows, "from", "the .csv of the same name")
        zone = None if form.tz is None else changes_of(form.tz)
        self._exports.enter()
        try:
            async with self._exports.workbook_turn:
                path = await asyncio.to_thread(xlsx.write_workbook, sheet, wanted.name, zone)
            return FileExport(self._exports, path, headers)
        except BaseException:
            self._exports.leave()
            raise

    async def _before(
        self, form: Form, wanted: Wanted, ending: str, media_type: str
    ) -> tuple[int, dict[str, str], Response | None]:
        """Return the newest ledger number, the headers, and the answer if it needs no rows."""
        head, revision = await self._database.read(_head_and_revision, wanted)
        refuse_future(wanted.since, head)
        name = f"{wanted.name}.{ending}"
        query = form.model_dump_json(exclude=NOT_ROWS)
        mark = hashlib.sha256(f"{name} {revision} {wanted.mark} {query}".encode()).hexdigest()[:20]
        headers = {"ETag": f'W/"{mark}"', "Cache-Control": "private, no-cache", "Content-Type": media_type}
        if form.download:
            headers["Content-Disposition"] = f'attachment; filename="{name}"'
        if headers["ETag"] in self._request.headers.get("if-none-match", ""):
            return head, headers, Response(status_code=HTTPStatus.NOT_MODIFIED, headers=headers)
        if self._request.method == "HEAD":
            return head, headers, Response(headers=headers)
        return head, headers, None

    async def _sheet(self, wanted: Wanted, head: int) -> Sheet:
        by = Asking(self._services.store.reader, self._settings.store_kind, head, self.now_us)
        return await self._database.run(lambda: wanted.sheet(by))

    async def _refuse_too_long(self, sheet: Sheet, limit: int, parameter: str, otherwise: str) -> None:
        if await self._database.read(sheet.count, limit + 1) > limit:
            raise bad_parameter(
                parameter,
                f"it holds {limit} rows and there are more; narrow the rows with from and to, instrument, "
                f"quantity, sample or since, or take {otherwise}",
            )

    def _pays_to_compress(self) -> bool:
        """Tell whether bytes travel: within this machine packing them costs more than it saves."""
        accepted = self._request.headers.get("accept-encoding", "").lower().replace(" ", "").split(",")
        wants = any(one.partition(";")[0] == "gzip" and not one.endswith(";q=0") for one in accepted)
        return wants and bool(self._request.scope.get(NETWORK))

    def _in_turns(self, pieces: Iterator[bytes]) -> AsyncIterator[bytes]:
        return in_turns(self._exports, self._database, pieces)


AskedOf = Annotated[Asked, Depends(Asked)]


def _head_and_revision(connection: Connection, wanted: Wanted) -> tuple[int, int]:
    return queries.head(connection), wanted.revision(connection)


def _with_bom(pieces: Iterator[bytes]) -> Iterator[bytes]:
    yield BOM
    yield from pieces


def _compressed(pieces: Iterator[bytes]) -> Iterator[bytes]:
    packer = zlib.compressobj(_FAST, zlib.DEFLATED, _GZIP)
    for piece in pieces:
        if packed := packer.compress(piece):
            yield packed
    yield packer.flush()
