"""Keep it: schema, the one writer, the ledger, queries, backup."""
