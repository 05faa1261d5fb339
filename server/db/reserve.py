"""A little room kept back on the disk, freed when it is full: so that a steward can still sign in.

Signing in writes a row; on a full disk nobody could look at what fills it.
"""

import contextlib
import os
import shutil
from pathlib import Path

FILE = "room-for-emergencies"
BYTES = 8 * 2**20
LEAST_FREE_BYTES = 64 * 2**20


def lay_by(folder: Path) -> None:
    """Keeps the room back where there is plenty; does nothing where there is not."""
    file = folder / FILE
    if file.exists() or not folder.is_dir():
        return
    with contextlib.suppress(OSError):
        if shutil.disk_usage(folder).free < LEAST_FREE_BYTES:
            return
        handle = os.open(file, os.O_WRONLY | os.O_CREAT, 0o600)
        try:
            for _ in range(BYTES // 2**16):  # written, since a hole would keep nothing back
                os.write(handle, b"\0" * 2**16)
        finally:
            os.close(handle)


def free(folder: Path) -> bool:
    """Gives the room to the database; whether there was any."""
    try:
        (folder / FILE).unlink()
    except OSError:
        return False
    return True
