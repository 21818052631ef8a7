"""The analyzers, in the order of the report: one file and one line each."""
