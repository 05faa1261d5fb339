"""The club's shelf of lamps: list, form, channels, photometric file, and what a lamp can do."""
