"""Whatever a stranger's program sends is answered as the description says."""
