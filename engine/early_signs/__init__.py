"""Slow changes that may end in a fault: each track against its own normal. Never an alarm."""
