"""Sound of a pair to be heard back to back: aligned, at one gain, short."""
