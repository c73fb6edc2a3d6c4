"""Pure array work on recordings."""
