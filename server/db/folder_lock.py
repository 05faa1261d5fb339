"""One lock on the club's folder: whoever serves it or replaces what is in it holds it alone.

The lock is the operating system's, on an open file: it ends with the process that holds it,
however that ends, so no stale lock can keep a club shut.
"""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from server.db.unwilling import Unwilling

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

LOCK_FILE = "in-use.lock"


class InUse(Unwilling):
    """Another process has the folder; the words say which and what to do."""


@contextmanager
def held(folder: Path, *, by: str) -> Iterator[None]:
    """Holds the folder for the length of the block. Raises InUse when another process does.

    by: the command of the holder, such as "serve"; the other side is told.
    """
    folder.mkdir(parents=True, exist_ok=True)
    file = os.open(folder / LOCK_FILE, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        if not _taken(file):
            holder = os.read(file, 80).decode(errors="replace").strip() or "another process"
            raise InUse(f"The club in {folder} is in use by {holder}. Stop that first.")
        os.ftruncate(file, 0)
        os.write(file, f"`underlamp {by}` (process {os.getpid()})".encode())
        yield
    finally:
        os.close(file)  # the lock goes with it


def _taken(file: int) -> bool:
    try:
        if sys.platform == "win32":
            os.lseek(
                file, 1 << 20, os.SEEK_SET
            )  # locked bytes cannot be read: far behind the words
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    finally:
        os.lseek(file, 0, os.SEEK_SET)
    return True
