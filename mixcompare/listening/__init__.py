"""Sound of a pair to be heard back to back: aligned, level-matched, short."""
