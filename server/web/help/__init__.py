"""Help, the words explained, and the page of patterns."""
