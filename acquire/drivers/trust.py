"""Whether what comes first on a line can be trusted to be whole.

A line may be opened in the middle of a message, and the second half of ``13.41`` looks like a whole ``3.41``.
"""

from itertools import permutations

from acquire.drivers.definition import Definition
from acquire.drivers.fields import ConstantField


def first_frame_is_sure(definition: Definition) -> bool:
    """Tell whether the second half of a frame can never be taken for a whole one.

    So it is with a start mark, with a check of 16 bits (one of 8 bits lets one half in 256 through), under a
    header row, and where half a frame always lacks something: the constant text of its first column, or a
    label.
    """
    check = definition.check
    if definition.framing.start or (check is not None and check.kind.startswith("crc16")):
        return True
    if definition.delimited is None:
        return _every_label_is_missed(definition)
    layout = definition.delimited
    return layout.header or (not layout.quoted and _every_mark_is_missed(definition))


def _every_mark_is_missed(definition: Definition) -> bool:
    firsts = [fields[0] for fields in definition.records]
    marks = [field.text for field in firsts if isinstance(field, ConstantField) and field.text]
    return len(marks) == len(firsts) and _no_end_of_another(marks)


def _every_label_is_missed(definition: Definition) -> bool:
    fields = [field for record in definition.records for field in record]
    may_be_missing = any(not field.required and field.kind != "ignore" for field in fields)
    return not may_be_missing and _no_end_of_another([field.label or "" for field in fields])


def _no_end_of_another(texts: list[str]) -> bool:
    return not any(one.endswith(other) for one, other in permutations(texts, 2))
