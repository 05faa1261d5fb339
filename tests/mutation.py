"""Deliberate one-line faults: does any test notice?

    python -m tests.mutation                  160 faults over all rooms, one seed, nearest tests
    python -m tests.mutation --count 40 --only server/lending --seed 3
    python -m tests.mutation --known          the faults by name in tests/known_faults.toml
    python -m tests.mutation --kept           the sample in tests/sampled_faults.toml, found by text
    python -m tests.mutation --keep           draws that sample anew and writes it

Each fault is one small edit of one line (a comparison turned, max for min, a sign, a factor of ten,
and for or, a swapped pair). The tree is copied, the fault is set in the copy, and the tests nearest
to the file run until one fails. A fault that no test notices is printed with its line; the ones
looked at and held to be harmless stand in tests/harmless_faults.toml with the reason.
"""

import argparse
import ast
import json
import random
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from tests.quick import ROOT, tests_near

ROOMS = (
    "optics", "dose", "surveys", "comparing", "account", "lending", "drawing", "db", "web",
)  # fmt: skip
LEFT_OUT = ("server/db/migrations/", "server/db/demo/", "server/optics/tables/")
SECONDS_EACH = 240
SAMPLE = ROOT / "tests" / "sampled_faults.toml"

TURNED = {
    ast.Lt: ">=", ast.LtE: ">", ast.Gt: "<=", ast.GtE: "<", ast.Eq: "!=", ast.NotEq: "==",
    ast.In: "not in", ast.NotIn: "in", ast.Is: "is not", ast.IsNot: "is",
}  # fmt: skip
SIGNS = {ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*"}
NAMES = {
    "min": "max", "max": "min", "any": "all", "all": "any", "minimum": "maximum",
    "maximum": "minimum", "argmin": "argmax", "argmax": "argmin", "floor": "ceil", "ceil": "floor",
    "x_cm": "y_cm", "y_cm": "x_cm", "low": "high", "high": "low", "first": "last", "last": "first",
    "flipud": "asarray",
}  # fmt: skip


NOT_CODE = ("#", '"', "'", "def ", "class ", "@", "assert ")
BOUNDS_ONLY = re.compile(r"maxsize|max_length|^[A-Z_]*(CACHE|KEPT|REMEMBERED)[A-Z_]* = |Literal\[")
"""Lines that bound a cache or a column, or only say a type: no behaviour to notice."""


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One edit of one line. start, end: columns of what is replaced."""

    file: str
    line: int
    start: int
    end: int
    new: str

    def made(self, text: str) -> str:
        """The file's text with the fault in it."""
        lines = text.split("\n")
        one = lines[self.line - 1]
        lines[self.line - 1] = one[: self.start] + self.new + one[self.end :]
        return "\n".join(lines)

    def shown(self, text: str) -> str:
        """The line before and after."""
        before = text.split("\n")[self.line - 1]
        after = self.made(text).split("\n")[self.line - 1]
        return f"{self.file}:{self.line}\n    {before.strip()}\n    {after.strip()}"


@dataclass(frozen=True, kw_only=True)
class Told:
    """What became of a fault: 'noticed', 'survived', 'no tests', or 'unsound': only a
    test that fails without the fault as well failed."""

    fault: Fault
    outcome: str
    by: str


# Where a line can be spoilt


def faults_in(path: Path) -> Iterator[Fault]:
    """Every one-line fault that this script knows how to make in a file."""
    text = path.read_text()
    name = str(path.relative_to(ROOT))
    for node in ast.walk(ast.parse(text)):
        for line, start, end, new in _edits(node, text.split("\n")):
            yield Fault(file=name, line=line, start=start, end=end, new=new)


def _edits(node: ast.AST, lines: list[str]) -> Iterator[tuple[int, int, int, str]]:
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        yield from _between(node.left, node.comparators[0], TURNED.get(type(node.ops[0])), lines)
    if isinstance(node, ast.BinOp):
        yield from _between(node.left, node.right, SIGNS.get(type(node.op)), lines)
    if isinstance(node, ast.BoolOp) and len(node.values) == 2:
        word = "or" if isinstance(node.op, ast.And) else "and"
        yield from _between(node.values[0], node.values[1], word, lines)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield node.lineno, node.col_offset, node.operand.col_offset, ""
    if (
        isinstance(node, ast.Constant)
        and type(node.value) in (int, float)
        and node.value not in (0,)
    ):
        assert node.end_col_offset is not None
        yield node.lineno, node.col_offset, node.end_col_offset, repr(node.value * 10)
    if isinstance(node, ast.Name) and node.id in NAMES:
        yield node.lineno, node.col_offset, node.col_offset + len(node.id), NAMES[node.id]
    if isinstance(node, ast.Attribute) and node.attr in NAMES:
        assert node.end_lineno is not None and node.end_col_offset is not None
        start = node.end_col_offset - len(node.attr)
        yield node.end_lineno, start, node.end_col_offset, NAMES[node.attr]


def _between(
    left: ast.expr, right: ast.expr, new: str | None, lines: list[str]
) -> Iterator[tuple[int, int, int, str]]:
    """The operator between two operands on one line; non-ASCII lines are left alone."""
    if new is None or left.end_lineno != right.lineno or left.end_col_offset is None:
        return
    line = lines[right.lineno - 1]
    gap = line[left.end_col_offset : right.col_offset]
    if line.isascii() and not set(gap) & set("()[]{}#"):
        yield right.lineno, left.end_col_offset, right.col_offset, f" {new} "


# Choosing and trying


def chosen(count: int, seed: int, only: str) -> list[Fault]:
    """Faults spread over the rooms, and within a room over its lines."""
    draw = random.Random(seed)
    by_room: dict[str, list[Fault]] = {}
    for room in ROOMS:
        files = [
            one for one in sorted((ROOT / "server" / room).rglob("*.py")) if _counts(one, only)
        ]
        every = [fault for path in files for fault in faults_in(path) if _alters(fault)]
        draw.shuffle(every)
        by_room[room] = every
    picked: list[Fault] = []
    while len(picked) < count and any(by_room.values()):
        picked += [every.pop() for every in by_room.values() if every]
    return picked[:count]


def _counts(path: Path, only: str) -> bool:
    name = str(path.relative_to(ROOT))
    return name.startswith(only) and not name.startswith(LEFT_OUT)


def _alters(fault: Fault) -> bool:
    """Whether the fault is Python still, and not inside words or a type."""
    text = (ROOT / fault.file).read_text()
    line = text.split("\n")[fault.line - 1]
    if line.lstrip().startswith(NOT_CODE) or not line.isascii() or BOUNDS_ONLY.search(line):
        return False
    try:
        compile(fault.made(text), fault.file, "exec")
    except (SyntaxError, ValueError):
        return False
    return True


class Copy:
    """A copy of the tree in which one fault at a time is set."""

    def __init__(self) -> None:
        self.failing: dict[str, bool] = {}
        self.folder = Path(tempfile.mkdtemp(prefix="underlamp-faults-"))
        for part in ("server", "templates", "static", "seed", "tests"):
            shutil.copytree(
                ROOT / part, self.folder / part, ignore=shutil.ignore_patterns("__pycache__")
            )
        for part in ("pyproject.toml", "DEVELOPERS.md", "README.md"):
            shutil.copy(ROOT / part, self.folder / part)

    def tried(self, fault: Fault, tests: list[str] | None = None) -> Told:
        """Runs the tests nearest to the fault, or those named."""
        path = self.folder / fault.file
        text = path.read_text()
        near = tests or _in_order(fault.file)
        if not near:
            return Told(fault=fault, outcome="no tests", by="")
        path.write_text(fault.made(text))
        try:
            told = self._ran(fault, near)
        finally:
            path.write_text(text)
        return replace(told, outcome="unsound") if self._fails_anyway(told) else told

    def _fails_anyway(self, told: Told) -> bool:
        """Whether the test that noticed fails without the fault, too, and so noticed nothing."""
        _, _, test = told.by.partition(" tests/")
        if told.outcome != "noticed" or not test:
            return False
        if test not in self.failing:
            self.failing[test] = self._ran(told.fault, [f"tests/{test}"]).outcome == "noticed"
        return self.failing[test]

    def _ran(self, fault: Fault, near: list[str]) -> Told:
        command = [
            sys.executable,
            "-m",
            "pytest",
            "-q",
            "-x",
            "--no-header",
            "-p",
            "no:cacheprovider",
        ]
        command += ["-m", "not browser", *near]
        try:
            done = subprocess.run(
                command, cwd=self.folder, capture_output=True, text=True, timeout=SECONDS_EACH
            )
        except subprocess.TimeoutExpired:
            return Told(fault=fault, outcome="noticed", by="never ended")
        failed = [
            line
            for line in done.stdout.splitlines()
            if line.startswith(("FAILED tests", "ERROR tests"))
        ]
        outcome = "survived" if done.returncode == 0 else "noticed"
        return Told(fault=fault, outcome=outcome, by=failed[0].split(" - ")[0] if failed else "")


def _in_order(file: str) -> list[str]:
    """The tests nearest to a file: its own test file, those that import it, then its folder."""
    near = tests_near({file})
    folder = "/".join(["tests", *file.split("/")[1:-1]])
    own = [one for one in near if Path(one).stem == f"test_{Path(file).stem}"]
    rest = [one for one in near if one not in own]
    wide = [folder] if (ROOT / folder).exists() else []
    return list(dict.fromkeys([*own, *rest, *wide, "tests/seams"]))


# Faults by name


@dataclass(frozen=True, kw_only=True)
class Known:
    """A fault that once survived. tests: those that must notice it; after: text before the line."""

    what: str
    file: str
    old: str
    new: str
    tests: list[str]
    after: str = ""


def known() -> list[Known]:
    """The list in tests/known_faults.toml."""
    told = tomllib.loads((ROOT / "tests" / "known_faults.toml").read_text())
    return [Known(**one) for one in told["fault"]]


def as_fault(one: Known) -> Fault:
    """Where it stands now. Raises ValueError when its line is gone or no longer single."""
    text = (ROOT / one.file).read_text()
    begin = text.index(one.after)
    found = text.count(one.old, begin)
    if "\n" in one.old or found == 0 or (found > 1 and not one.after):
        raise ValueError(f"{one.file} holds {found} times: {one.old}")
    at = text.index(one.old, begin)
    start = at - text.rfind("\n", 0, at) - 1
    return Fault(
        file=one.file,
        line=text.count("\n", 0, at) + 1,
        start=start,
        end=start + len(one.old),
        new=one.new,
    )


def harmless() -> dict[str, str]:
    """Faults looked at and held to be harmless: 'file | line after' -> reason."""
    path = ROOT / "tests" / "harmless_faults.toml"
    told = tomllib.loads(path.read_text()) if path.exists() else {"fault": []}
    return {f"{one['file']} | {one['line']}": one["why"] for one in told["fault"]}


# A sample that stays the same while lines move


def keep(faults: list[Fault]) -> None:
    """Writes faults as text: file, line before, line after."""
    blocks = []
    for one in faults:
        text = (ROOT / one.file).read_text()
        before = text.split("\n")[one.line - 1]
        after = one.made(text).split("\n")[one.line - 1]
        told = {"file": one.file, "before": before.strip(), "after": after.strip()}
        lines = "\n".join(f"{name} = {json.dumps(words)}" for name, words in told.items())
        blocks.append(f"[[fault]]\n{lines}\n")
    SAMPLE.write_text("\n".join(blocks))


def kept(only: str) -> tuple[list[Fault], list[str]]:
    """The faults of the sample where their lines stand now, and those whose lines are gone."""
    found, gone = [], []
    for one in tomllib.loads(SAMPLE.read_text())["fault"]:
        if one["file"].startswith(only):
            fault = _refound(**one)
            if fault is None:
                gone.append(f"{one['file']}: {one['before']}")
            else:
                found.append(fault)
    return found, gone


def _refound(file: str, before: str, after: str) -> Fault | None:
    """The first line of a file that reads so, as a fault over all of it."""
    path = ROOT / file
    for number, line in enumerate(path.read_text().split("\n") if path.exists() else (), 1):
        if line.strip() == before:
            start = len(line) - len(line.lstrip())
            return Fault(file=file, line=number, start=start, end=len(line.rstrip()), new=after)
    return None


def _key(fault: Fault) -> str:
    line = fault.made((ROOT / fault.file).read_text()).split("\n")[fault.line - 1]
    return f"{fault.file} | {line.strip()}"


def _print(told: Told, excused: dict[str, str]) -> None:
    print(f"{told.outcome:9} {told.fault.shown((ROOT / told.fault.file).read_text())}")
    print(f"    {told.by or excused.get(_key(told.fault), '')}", flush=True)


def main() -> int:
    """Prints every fault and, last, how many were noticed."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--count", type=int, default=160)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--only", default="server/")
    for name in ("--known", "--kept", "--keep"):
        ask.add_argument(name, action="store_true")
    asked = ask.parse_args()
    if asked.keep:
        keep(chosen(asked.count, asked.seed, asked.only))
        return 0
    copy, excused = Copy(), harmless()
    told = []
    for fault, tests in _asked_for(asked):
        told.append(copy.tried(fault, tests))
        _print(told[-1], excused)
    shutil.rmtree(copy.folder)
    return _sum(told, excused)


def _asked_for(asked: argparse.Namespace) -> list[tuple[Fault, list[str] | None]]:
    """Faults to try, each with its tests where they are named."""
    if asked.known:
        return [(as_fault(one), one.tests) for one in known()]
    if not asked.kept:
        return [(one, None) for one in chosen(asked.count, asked.seed, asked.only)]
    found, gone = kept(asked.only)
    print(*(f"gone      {one}" for one in gone), sep="\n", flush=True)
    return [(one, None) for one in found]


def _sum(told: list[Told], excused: dict[str, str]) -> int:
    noticed = sum(one.outcome == "noticed" for one in told)
    left = [one for one in told if one.outcome != "noticed"]
    print(f"\n{noticed} of {len(told)} faults noticed ({100 * noticed / max(len(told), 1):.1f} %)")
    for one in left:
        _print(one, excused)
    return 0 if all(_key(one.fault) in excused for one in left) else 1


if __name__ == "__main__":
    sys.exit(main())
