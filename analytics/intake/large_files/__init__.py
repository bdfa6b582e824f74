"""Files larger than memory: read in chunks, checked with little memory."""
