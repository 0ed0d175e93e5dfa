"""Whether what comes first on a line can be trusted to be whole.

A line may be opened in the middle of a message, and the second half of ``13.41`` looks like a whole ``3.41``.
"""

from itertools import permutations

from acquire.drivers.definition import Definition
from acquire.drivers.fields import ConstantField
from acquire.drivers.layout_tables import Delimited, Fixed, Labelled


def first_frame_is_sure(definition: Definition) -> bool:
    """Tell whether the second half of a frame can never be taken for a whole one.

    So it is with a start mark, with a check of 16 bits (one of 8 bits lets one half in 256 through), under a
    header row, where a line of its own begins each block, and where half a frame always lacks something: the
    constant text of its first column, a character of its fixed width, or a label. A frame of several rows may
    be cut between two of them, and then lacks nothing of that kind.
    """
    check, block = definition.check, definition.block
    if definition.framing.start or (check is not None and check.kind.startswith("crc16")):
        return True
    if block is not None and block.begin:
        return True
    rows = definition.delimited or definition.fixed
    if definition.labelled is not None and not _every_label_is_missed(definition.labelled):
        return False
    return rows is None or _every_row_is_missed(rows)


def _every_row_is_missed(rows: Delimited | Fixed) -> bool:
    if rows.rows and not _has_header(rows):
        return False
    if isinstance(rows, Fixed):
        return not rows.trimmed
    return rows.header or (not rows.quoted and _every_mark_is_missed(rows))


def _has_header(rows: Delimited | Fixed) -> bool:
    return isinstance(rows, Delimited) and rows.header


def _every_mark_is_missed(layout: Delimited) -> bool:
    firsts = [record.columns[0] for record in layout.records]
    marks = [field.text for field in firsts if isinstance(field, ConstantField) and field.text]
    return len(marks) == len(firsts) and _no_end_of_another(marks)


def _every_label_is_missed(layout: Labelled) -> bool:
    may_be_missing = any(not field.required and field.kind != "ignore" for field in layout.fields)
    return not may_be_missing and _no_end_of_another([field.label or "" for field in layout.fields])


def _no_end_of_another(texts: list[str]) -> bool:
    return not any(one.endswith(other) for one, other in permutations(texts, 2))
