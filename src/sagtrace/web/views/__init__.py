"""What pages show, as records: nothing is worked out in a template."""
