"""How long 50,000 rows take to read, and how much memory: run by hand, prints its figures.

python tests/surveys/benchmark_table.py
"""

import random
import resource
import time

from server.surveys.table import read


def file_of(rows: int, *, delimiter: str = ";", decimal: str = ",") -> bytes:
    """Readings with decimals and a note in every tenth row."""
    draw = random.Random(6)
    lines = [delimiter.join(["x (cm)", "y (cm)", "depth (cm)", "PAR", "note"])]
    for n in range(rows):
        cells = [f"{draw.uniform(0, size):.2f}" for size in (120, 50, 55, 400)]
        lines.append(
            delimiter.join(c.replace(".", decimal) for c in cells)
            + delimiter
            + ("near the rock" if n % 10 == 0 else "")
        )
    return "\n".join(lines).encode()


def log_of(lines: int) -> bytes:
    """A sensor's log, one line a minute."""
    return (
        "Time,PAR\n"
        + "\n".join(
            f"2026-{1 + n // 40320:02d}-{1 + n // 1440 % 28:02d} "
            f"{n // 60 % 24:02d}:{n % 60:02d},{n % 300}"
            for n in range(lines)
        )
    ).encode()


def main() -> None:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    for name, data in (
        ("points, decimal comma", file_of(50_000)),
        ("points, decimal point", file_of(50_000, delimiter=",", decimal=".")),
        ("log", log_of(50_000)),
    ):
        start, busy = time.perf_counter(), time.process_time()
        table = read(data)
        took, busy = time.perf_counter() - start, time.process_time() - busy
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(
            f"{name}: {len(data) / 1e6:.1f} MB, {table.stored} rows in {took:.2f} s "
            f"({busy:.2f} s of processor time); "
            f"process peak {memory:.0f} MB (before: {before:.0f} MB)"
        )


if __name__ == "__main__":
    main()
