"""Answering with sheets: which rows, in which form, and how they are sent."""
