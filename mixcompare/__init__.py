"""mixcompare: two recordings of one orchestral passage, and what sticks out."""
