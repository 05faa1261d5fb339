"""One door for photometric files: tells the two open standards apart and reads either."""

from server.optics.broken_file import BrokenFile
from server.optics.eulumdat import looks_like_eulumdat, read_eulumdat
from server.optics.lm63 import looks_like_lm63, read_lm63
from server.optics.photometric_file import MAX_BYTES, PhotometricFile


def read_photometric_file(raw: bytes) -> PhotometricFile:
    """The lamp in an LM-63 or EULUMDAT file, UTF-8 or Latin-1. Raises BrokenFile."""
    if len(raw) > MAX_BYTES:
        raise BrokenFile(None, f"the file is over {MAX_BYTES // 1_000_000} MB")
    if not raw.strip():
        raise BrokenFile(None, "the file is empty")
    if b"\x00" in raw:
        raise BrokenFile(None, "this is not a text file")
    text = _decoded(raw)
    if looks_like_lm63(text):
        return read_lm63(text)
    if looks_like_eulumdat(text):
        return read_eulumdat(text)
    raise BrokenFile(
        1,
        "this is neither an LM-63 file (it would have a TILT= line) nor an EULUMDAT file (its "
        "third line would be a symmetry from 0 to 4)",
    )


def _decoded(raw: bytes) -> str:
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")
