"""What exists: layouts, faults, checks, repairs, readings and jobs as frozen records."""
