"""What to paste where, so that a spreadsheet or a program reads a sheet right; for the reader's own address.

The import settings were measured with LibreOffice 7.4 in three locales; a test loads every sheet with them.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from urllib.parse import quote, urlencode

from storage.csv_text import Heading, Kind, readings_columns, results_columns
from storage.csv_text.zones import OFFSET_COLUMN, local_name
from storage.sheets.additions import HEADINGS as ADDITIONS
from storage.sheets.amendments import amendments_columns
from storage.sheets.control import control_columns
from storage.sheets.lots import HEADINGS as LOTS
from storage.sheets.wide import FIRST as WIDE

SHEETS: Final = {
    "readings": "every number as an instrument gave it",
    "results": "one row a result, released ones",
    "wide": "one row a sample, a column a quantity",
    "lots": "the newest of each lot, with its age",
    "calibrations": "calibrations, standardisations, blanks and their like",
    "checks": "control materials that were measured",
    "amendments": "values that were amended, old beside new",
    "additions": "what was added to which lot: planned, weighed, done",
}
"""What each sheet shows, in a few words."""

IMPORT_OPTIONS: Final = "44,34,76,1,,1033,true,true,false,false,false,0,false"
"""Of LibreOffice's text import: comma, double quote, UTF-8, from row 1, columns by themselves, English (USA),
quoted fields as text, special numbers, no formulas."""

KEY_TO_FILL_IN: Final = "KEY"


@dataclass(frozen=True, slots=True)
class Recipe:
    """One thing to paste."""

    title: str
    words: str
    """Where, and what to know; what stands between backticks is code."""
    text: str


@dataclass(frozen=True, slots=True)
class Reader:
    """Whose recipe it is."""

    base: str
    """Where the daemon serves this reader, such as ``http://127.0.0.1:8710``."""
    key: str | None = None
    """A key that may stand in the address; None where none is wanted."""
    zone: str | None = None
    """In which times are shown; None for UTC."""


def headings_of(sheet: str) -> tuple[Heading, ...]:
    """Return the columns of a sheet that do not depend on what is in the store."""
    columns = {
        "readings": readings_columns,
        "results": results_columns,
        "calibrations": control_columns,
        "checks": control_columns,
        "amendments": amendments_columns,
    }
    if sheet in columns:
        return tuple(Heading(column.name, column.kind) for column in columns[sheet](""))
    return {"lots": LOTS, "additions": ADDITIONS}.get(sheet, WIDE)


def address(sheet: str, reader: Reader, ending: str = "csv", **query: str) -> str:
    """Return the address of a sheet for a reader."""
    if reader.zone is not None:
        query["tz"] = reader.zone
    if reader.key is not None:
        query["key"] = reader.key
    asked = f"?{urlencode(query, safe='/')}" if query else ""
    return f"{reader.base}/sheets/{sheet}.{ending}{asked}"


def recipes(sheet: str, reader: Reader) -> list[Recipe]:
    """Return everything that can be pasted for a sheet."""
    moments = _named(sheet, reader, Kind.MOMENT)
    return [
        Recipe(
            "LibreOffice Calc, linked workbook",
            "Sheet > External Links, or Sheet > Insert Sheet from File with Link ticked: paste this "
            "address. Cells have types, so no setting is needed. Edit > Links to External Files refreshes "
            "it.",
            address(sheet, reader, "xlsx"),
        ),
        Recipe(
            "LibreOffice Calc, linked text",
            "Sheet > External Links: paste this address. In the text import choose character set Unicode "
            "(UTF-8), language English (USA) whatever your own is, separator comma, tick `Format quoted "
            "field as text` and `Detect special numbers`, untick `Evaluate formulas`. Set the time "
            "between refreshes below.",
            address(sheet, reader, dialect="sheet"),
        ),
        Recipe(
            "LibreOffice Calc, the same settings for a macro or a command line",
            "The filter is `Text - txt - csv (StarCalc)`, on the command line `--infilter=CSV:` and these "
            "options.",
            IMPORT_OPTIONS,
        ),
        Recipe(
            "Excel, web query",
            "Data > Get Data > Blank Query > Advanced Editor: paste all of it. Asked how to sign in, "
            "choose "
            + ("Web API and give your key. " if reader.key is not None else "Anonymous. ")
            + "Numbers are read as they are sent, whatever your locale. Not tried by us.",
            _web_query(sheet, reader, moments),
        ),
        Recipe(
            "One number in one cell",
            "LibreOffice and Excel for Windows: put your own lot (or `sample=`) and quantity in. Write "
            "the semicolons as commas where your spreadsheet wants commas. Words instead of a number, or "
            "no number yet, give an error, never a wrong number.",
            f'=NUMBERVALUE(WEBSERVICE("{_cell(reader, "value.txt")}");".")',
        ),
        Recipe(
            "Its unit, standing or time in another cell",
            "Take `//unit`, `//standing`, `//measured_at`, `//sample`, `//basis`, `//outcome` or `//value`.",
            f'=FILTERXML(WEBSERVICE("{_cell(reader, "value.xml")}");"//standing")',
        ),
        Recipe("R", "No package is needed.", _r(sheet, reader, moments)),
        Recipe("pandas", "Python with pandas.", _pandas(sheet, reader, moments)),
        Recipe(
            "A shell",
            "The key goes in the header, so that it stands in no history of addresses.",
            " ".join(["curl -s", *_shell_key(reader), f"'{address(sheet, _without_key(reader))}'"]),
        ),
    ]


CANNOT: Final = (
    (
        "A spreadsheet that runs in somebody's cloud fetches addresses from there: it cannot reach a "
        "laboratory's network, and should not. Download the workbook, or use a program on a computer of the "
        "laboratory."
    ),
    (
        "LibreOffice cannot send a key in a header when it refreshes a link; it needs a reading key in the "
        "address."
    ),
    (
        "When a refresh fails (the daemon is off, the key was revoked), LibreOffice shows an error in the "
        "linked cells; they come back with the next refresh that works. Keep formulas outside the linked "
        "area."
    ),
    (
        "A text file that is opened by a double click is read with the settings of that computer: leading "
        "zeros of sample codes go, and a decimal point may be taken for a thousands mark. Use the workbook, "
        "or an import with the settings above."
    ),
    (
        "A sheet with more rows than a spreadsheet holds (1,048,575) is refused; narrow it with from= and "
        "to=, lot= or quantity=. A workbook holds 250,000."
    ),
    (
        "One-cell functions ask for each cell by itself. For more than a few dozen use a sheet, and look the "
        "values up in it."
    ),
)
"""What does not work, and what to do instead."""


def _named(sheet: str, reader: Reader, *kinds: Kind) -> list[str]:
    names = [one.name for one in headings_of(sheet) if one.kind in kinds]
    return [local_name(name) for name in names] if reader.zone and Kind.MOMENT in kinds else names


def _without_key(reader: Reader) -> Reader:
    return Reader(reader.base, None, reader.zone)


def _shell_key(reader: Reader) -> list[str]:
    return [] if reader.key is None else [f"-H 'Authorization: Bearer {reader.key}'"]


def _cell(reader: Reader, name: str) -> str:
    key = "" if reader.key is None else f"&key={quote(reader.key)}"
    return f"{reader.base}/sheets/{name}?lot=LOT&quantity=free_so2{key}"


def _listed(names: Sequence[str]) -> str:
    return ", ".join(json.dumps(name) for name in names)


def _web_query(sheet: str, reader: Reader, moments: Sequence[str]) -> str:
    numbers = _named(sheet, reader, Kind.INTEGER, Kind.NUMERAL) + ([OFFSET_COLUMN] if reader.zone else [])
    given = f'RelativePath = "sheets/{sheet}.csv"'
    if reader.zone is not None:
        given += f', Query = [tz = "{reader.zone}"]'
    if reader.key is not None:
        given += ', ApiKeyName = "key"'
    typed = [f'{{"{name}", type datetimezone}}' for name in moments]
    typed += [f'{{"{name}", type number}}' for name in numbers]
    typed += [f'{{"{one.name}", type text}}' for one in headings_of(sheet) if one.kind is Kind.TEXT]
    lines = [
        "let",
        f'    Raw = Binary.Buffer(Web.Contents("{reader.base}", [{given}])),',
        '    Rows = Csv.Document(Raw, [Delimiter = ",", Encoding = 65001, QuoteStyle = QuoteStyle.Csv]),',
        "    Named = Table.PromoteHeaders(Rows, [PromoteAllScalars = true]),",
        f'    Typed = Table.TransformColumnTypes(Named, {{{", ".join(typed)}}}, "en-US")',
    ]
    if sheet == "wide":
        lines[-1] += ","
        lines += [
            '    Values = List.Select(Table.ColumnNames(Typed), each Text.EndsWith(_, "]")),',
            "    Numbers = List.Transform(Values, each {_, type number}),",
            '    All = Table.TransformColumnTypes(Typed, Numbers, "en-US")',
        ]
    return "\n".join([*lines, "in", "    All" if sheet == "wide" else "    Typed"])


def _r(sheet: str, reader: Reader, moments: Sequence[str]) -> str:
    where = f'"{address(sheet, _without_key(reader), guard="false")}"'
    if reader.key is not None:
        where = f'url({where}, headers = c(Authorization = "Bearer {reader.key}"))'
    ending = "%z" if reader.zone else "Z"
    lines = [f'rows <- read.csv({where}, check.names = FALSE, na.strings = "", encoding = "UTF-8")']
    for name in moments:
        source = f'rows[["{name}"]]'
        if reader.zone:
            source = f'sub(":(..)$", "\\\\1", {source})'
        form = f"%Y-%m-%dT%H:%M:%OS{ending}"
        zone = reader.zone or "UTC"
        lines.append(f'rows[["{name}"]] <- as.POSIXct({source}, format = "{form}", tz = "{zone}")')
    return "\n".join(lines)


def _pandas(sheet: str, reader: Reader, moments: Sequence[str]) -> str:
    texts = [one.name for one in headings_of(sheet) if one.kind is Kind.TEXT]
    lines = [
        "import pandas",
        "",
        "rows = pandas.read_csv(",
        f'    "{address(sheet, _without_key(reader), guard="false")}",',
        f'    dtype=dict.fromkeys([{_listed(texts)}], "string"),',
    ]
    if reader.key is not None:
        lines.append(f'    storage_options={{"Authorization": "Bearer {reader.key}"}},')
    lines.append(")")
    lines += [f'rows["{name}"] = pandas.to_datetime(rows["{name}"], utc=True)' for name in moments]
    return "\n".join(lines)
