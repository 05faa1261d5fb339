"""A backup file: the embedded database as it is, and behind it a seal over every byte.

SQLite counts its pages in the header and ignores what follows, so a sealed file still opens in
any SQLite. A changed byte in the pages breaks the seal; one in the seal itself leaves a file
that is longer than its pages, which is refused as well.
"""

import hashlib
import os
import re
import shutil
from pathlib import Path

from server.db.unwilling import Unwilling

_MAGIC = b"SQLite format 3\x00"
_SEAL = re.compile(rb"\nunderlamp-backup/1 sha256=([0-9a-f]{64})\n\Z")
_SEAL_BYTES = 92
_PIECE = 1 << 20


def seal(file: Path) -> None:
    """Puts the seal behind a database file and brings both to the disk."""
    digest = _digest(file, file.stat().st_size)
    with file.open("ab") as sealed:
        sealed.write(b"\nunderlamp-backup/1 sha256=%s\n" % digest.encode())
        sealed.flush()
        os.fsync(sealed.fileno())


def unsealed_copy(file: Path, target: Path) -> bool:
    """Copies the database out of a backup; False when it never had a seal.

    Raises Unwilling when the file is not what was written.
    """
    pages, digest = _bounds(file)
    with file.open("rb") as source, target.open("wb") as copy:
        shutil.copyfileobj(source, copy, _PIECE)
        copy.truncate(pages)
        copy.flush()
        os.fsync(copy.fileno())
    # The copy is judged, not the source: what was judged is then what is used.
    if digest and _digest(target, pages) != digest:
        raise Unwilling(f"{file} is not a whole Underlamp backup: it changed after it was written.")
    return bool(digest)


def _bounds(file: Path) -> tuple[int, str]:
    """Bytes of the database in a file, and the digest its seal names."""
    size = file.stat().st_size
    with file.open("rb") as source:
        head = source.read(100)
        source.seek(max(0, size - _SEAL_BYTES))
        found = _SEAL.search(source.read())
    if len(head) < 100 or not head.startswith(_MAGIC):
        raise Unwilling(f"{file} is not a whole Underlamp database.")
    if found:
        return size - _SEAL_BYTES, found[1].decode()
    # File format of SQLite, sections 1.3.2 and 1.3.8: page size (1 stands for 65536) and pages.
    page_size = int.from_bytes(head[16:18], "big")
    page_size = 65536 if page_size == 1 else page_size
    if size != page_size * int.from_bytes(head[28:32], "big"):
        raise Unwilling(f"{file} is not a whole Underlamp backup: its end is missing or damaged.")
    return size, ""


def _digest(file: Path, length: int) -> str:
    digest = hashlib.sha256()
    with file.open("rb") as source:
        while length > 0 and (piece := source.read(min(_PIECE, length))):
            digest.update(piece)
            length -= len(piece)
    return digest.hexdigest()
