"""Show the store: REST, sheets, live events and pages."""
