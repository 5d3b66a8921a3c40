"""Hear a track in the headphones: what was kept of it, how it is mixed, the output it goes to."""
