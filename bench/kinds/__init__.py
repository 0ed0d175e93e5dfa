"""The kinds of records: what each one holds."""
