"""The watch itself: sources, measures, faults, alarms. No Qt; importing does no work."""
