"""The routes, one module a resource; each holds no rule, only what it takes and what it shows."""
