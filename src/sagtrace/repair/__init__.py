"""Repair options, what they cost and risk, and what proves them."""
