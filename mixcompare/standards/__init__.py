"""Published standards, each once: BS.1770 with EBU Tech 3341 and 3342, ISO 3382-1, IEC 61260-1."""
