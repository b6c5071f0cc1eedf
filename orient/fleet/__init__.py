"""Many parts: folders evaluated on a scheduler, whatever is in them, and the results in a database."""
