"""With stems: who carries what in the candidate, and which trims bring it nearest."""
