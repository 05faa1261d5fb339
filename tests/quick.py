"""The inner loop: runs in under a minute the tests nearest to what was changed.

    python -m tests.quick            what differs from main, and what is not committed
    python -m tests.quick HEAD~3     what differs from that commit

Nearest is: a changed test file itself; for a module of `server`, the tests that import it and the
folder that mirrors its own; for a template, the folder of its family. Then the arrows and style.
The whole suite stays `python -m pytest`; this only tells early.
"""

import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
ALWAYS = ("tests/test_rooms.py",)
MOST_SECONDS = "50"


def changed_since(base: str) -> set[str]:
    """Paths that differ from the place where this branch left `base`, and untracked ones."""
    fork = _git("merge-base", "HEAD", base).strip()
    tracked = _git("diff", "--name-only", fork).split()
    return {*tracked, *_git("ls-files", "--others", "--exclude-standard").split()}


def _git(*words: str) -> str:
    done = subprocess.run(["git", *words], cwd=ROOT, capture_output=True, text=True, check=True)
    return done.stdout


def tests_near(paths: set[str]) -> list[str]:
    """Test files and folders nearest to changed paths, in a fixed order."""
    found: set[str] = set()
    for path in paths:
        found |= _near(Path(path))
    return sorted(one for one in found if (ROOT / one).exists())


def _near(path: Path) -> set[str]:
    if path.parts[:1] == ("tests",) and path.name.startswith("test_"):
        return {str(path)}
    if path.parts[:1] == ("templates",) and len(path.parts) > 2:
        return {f"tests/web/{path.parts[1]}"}
    if path.parts[:1] == ("server",) and path.suffix == ".py":
        return _importing(path) | {_mirror(path)}
    return set()


def _mirror(path: Path) -> str:
    folder = Path("tests", *path.parts[1:-1])
    own = folder / f"test_{path.stem}.py"
    return str(own if (ROOT / own).exists() else folder)


def _importing(path: Path) -> set[str]:
    """Test files that name the module in an import."""
    package, name = ".".join(path.parts[:-1]), path.stem
    pattern = re.compile(
        rf"from {re.escape(package)}\.{name} import|from {re.escape(package)} import .*\b{name}\b"
    )
    return {
        str(one.relative_to(ROOT))
        for one in (ROOT / "tests").rglob("test_*.py")
        if pattern.search(one.read_text())
    }


def main(base: str) -> int:
    """Runs them without a browser; stops after MOST_SECONDS with what was seen by then."""
    near = [*ALWAYS, *tests_near(changed_since(base))]
    print("nearest tests:", *near, sep="\n  ")
    whole = [sys.executable, "-m", "pytest", "-q", "-x", "--ff", "-m", "not browser", *near]
    try:
        return subprocess.run(whole, cwd=ROOT, timeout=float(MOST_SECONDS)).returncode
    except subprocess.TimeoutExpired:
        print(f"stopped after {MOST_SECONDS} s: nothing had failed by then; the rest is for CI")
        return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1] if len(sys.argv) > 1 else "main"))
