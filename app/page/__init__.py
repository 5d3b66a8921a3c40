"""The glance view for phones: a process of its own that follows a watch and serves one page."""
