"""Published tables the optics room reads; each file names its source in its first lines."""
