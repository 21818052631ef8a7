"""What the user gives besides the two recordings."""
