"""Sheets whose rows are worked out here from several tables: one row a sample, a lot, a judged record."""
