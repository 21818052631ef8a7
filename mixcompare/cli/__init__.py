"""Command line: arguments in, exit code out; nothing is computed here."""
