"""What pages show, as frozen records: a module a subject."""
