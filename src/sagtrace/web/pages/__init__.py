"""The pages: a module a page."""
