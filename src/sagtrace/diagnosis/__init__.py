"""Prior and findings to probabilities over fault sets, with the account of why."""
