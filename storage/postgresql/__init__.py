"""A store on a PostgreSQL server: what is said there in other words than to a file."""
