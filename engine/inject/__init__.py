"""Faults put into clean samples: one file a fault; `registry` is the table of them."""
