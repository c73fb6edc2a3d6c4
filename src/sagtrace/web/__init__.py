"""The workbench: pages that a technician works from, and the HTTP API that they use."""
