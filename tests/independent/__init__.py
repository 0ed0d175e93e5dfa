"""Scripts that import nothing of ours: what a stranger does with what we hand out."""
