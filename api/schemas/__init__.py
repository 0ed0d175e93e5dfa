"""The bodies of answers, one module a resource: snake_case, a unit beside each value, times in UTC."""
