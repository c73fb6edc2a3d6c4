"""Fits the virtual vehicle to a recording: leak, pump and sensor at once, each with its spread."""
