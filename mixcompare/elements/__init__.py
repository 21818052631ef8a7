"""What changed together: elements that are found without a score."""
