"""Which check next, and when to stop looking."""
