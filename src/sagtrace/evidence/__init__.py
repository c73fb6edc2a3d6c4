"""Readings, observations and recordings to likelihoods, with their caveats."""
