"""The virtual vehicle in the bay: every check of the knowledge performed on it, with its errors."""
