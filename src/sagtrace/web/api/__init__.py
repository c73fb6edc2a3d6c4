"""The HTTP API, version 1: a module a subject."""
