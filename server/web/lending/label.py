"""The code on a case's label, as geometry for an inline drawing."""

from dataclasses import dataclass

import segno

QUIET_MODULES = 4  # ISO/IEC 18004 wants four light modules around the code


@dataclass(frozen=True)
class Code:
    """A QR code: its side in modules with the quiet zone, and one path of dark modules."""

    side: int
    path: str


def label_svg(address: str) -> Code:
    """The code of an address at error level M, which survives a scratch on a label."""
    code = segno.make(address, error="m", micro=False)
    steps = []
    for y, row in enumerate(code.matrix):
        run = 0
        for x, dark in enumerate([*row, 0]):
            if dark:
                run += 1
            elif run:
                steps.append(f"M{x - run + QUIET_MODULES} {y + QUIET_MODULES}h{run}v1h-{run}z")
                run = 0
    return Code(side=len(code.matrix) + 2 * QUIET_MODULES, path="".join(steps))
