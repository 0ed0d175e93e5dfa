"""The pages in a real browser, before a real daemon."""
