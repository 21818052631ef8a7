"""Sound in: recordings, read block by block and checked."""
