"""What a comparison hands over: ``report.json``, the page, the findings as a table."""
