"""Speed, measured: `python -m bench`."""
