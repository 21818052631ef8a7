"""With a score: how loud every written part is in either recording."""
