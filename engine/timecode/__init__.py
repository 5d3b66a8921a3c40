"""Timecode: counting frames and naming them."""
