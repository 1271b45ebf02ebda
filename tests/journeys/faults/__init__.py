"""Faults of a night's run, planted one by one, and where each is caught."""
