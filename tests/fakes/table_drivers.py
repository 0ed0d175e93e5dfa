"""Drivers for the kinds of file that programs drop into folders."""

from acquire.drivers.data_only import DataOnlyFactory, factory_from_text

_COLUMNS = '{ kind = "sample" }, { kind = "value", quantity = "free_so2", unit = "mg/L" }'


def rows() -> DataOnlyFactory:
    """Rows such as ``W-1;28.5`` and nothing else."""
    text = f"""
name = "drop-rows"
version = "1"
[framing]
ends = ['\\n', '\\r\\n']
distrust_first = false
[delimited]
separator = ";"
[[delimited.records]]
columns = [{_COLUMNS}]
[[examples]]
raw = 'W-1;28.5\\n'
expect = [{{ quantity = "free_so2", value = "28.5" }}]
"""
    return factory_from_text(text, "drop-rows")


def table() -> DataOnlyFactory:
    """Rows under a header row with ``Sample`` and ``SO2``, in any order."""
    text = """
name = "drop-table"
version = "1"
[framing]
ends = ['\\n', '\\r\\n']
encoding = "utf-8"
[delimited]
separator = ";"
header = true
[[delimited.records]]
columns = [
    { label = "Sample", kind = "sample" },
    { label = "SO2", kind = "value", quantity = "free_so2", unit = "mg/L" },
]
[[examples]]
raw = 'Sample;SO2\\nW-1;28.5\\n'
expect = [{ quantity = "free_so2", value = "28.5" }]
"""
    return factory_from_text(text, "drop-table")
