"""Other processes for work that takes long, so that the server itself only waits."""
