"""Why a command will not go on."""


class Unwilling(Exception):
    """A command or a start stops here; the words say why and what would help."""
