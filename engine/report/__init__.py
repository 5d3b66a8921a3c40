"""What a session or a scan becomes: one data model, then pages, HTML, CSV and JSON."""
