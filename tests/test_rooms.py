"""Who may import whom: every arrow that DEVELOPERS.md does not draw is a failure here."""

import ast
import sys
from pathlib import Path

import pytest

SERVER = Path(__file__).parent.parent / "server"
DEVELOPERS = SERVER.parent / "DEVELOPERS.md"
_FREE = set(sys.stdlib_module_names)


def allowed() -> dict[str, tuple[set[str], set[str]]]:
    """Room -> (rooms of ours, libraries), read from the table in DEVELOPERS.md."""
    arrows = {}
    inside = False
    for line in DEVELOPERS.read_text(encoding="utf-8").splitlines():
        inside = (inside or line.startswith("| room | may import |")) and line.startswith("|")
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if not inside or cells[0] in ("room", "---") or set(cells[0]) <= {"-"}:
            continue
        rooms = {name.strip("` ") for name in cells[1].split(",") if name.strip("` —")}
        libraries = {name.strip("` ") for name in cells[2].split(",") if name.strip("` —")}
        arrows[cells[0].strip("`")] = (rooms, libraries)
    return arrows


def room_of(file: Path) -> str:
    parts = file.relative_to(SERVER).with_suffix("").parts
    return parts[0] if len(parts) > 1 or parts[0] in ("settings", "places", "cli") else "root"


def imports_of(file: Path) -> list[tuple[str, bool]]:
    """(full module name, whether it stands at the top of the file) of each import."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    top = set(tree.body) | {
        inner
        for node in tree.body
        if isinstance(node, ast.Try | ast.If)
        for part in (node.body, node.orelse, *[h.body for h in getattr(node, "handlers", [])])
        for inner in part
    }
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [(alias.name, node in top) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}: relative import"
            module = node.module or ""
            if module == "server":
                found += [(f"server.{alias.name}", node in top) for alias in node.names]
            else:
                found.append((module, node in top))
    return found


FILES = sorted(
    file for file in SERVER.rglob("*.py") if not {"versions", "_carried"} & set(file.parts)
)


@pytest.mark.parametrize("file", FILES, ids=lambda file: str(file.relative_to(SERVER)))
def test_imports_only_what_its_room_may(file: Path) -> None:
    room = room_of(file)
    rooms, libraries = allowed()[room]
    for module, at_top in imports_of(file):
        head = module.split(".")[0]
        assert at_top, f"{module} is imported inside a function"
        if head == "server":
            target = module.split(".")[1]
            assert target == room or target in rooms, f"{room} may not import {target} ({module})"
        else:
            assert head in _FREE | libraries, f"{room} may not import {head}"


def test_the_table_names_every_room() -> None:
    assert {room_of(file) for file in FILES} == set(allowed())


def test_no_two_modules_import_each_other() -> None:
    names = {module_name(file): file for file in FILES}
    edges = {
        name: {target for target, _ in imports_of(file) if target in names}
        for name, file in names.items()
    }
    done: set[str] = set()

    def visit(name: str, path: tuple[str, ...]) -> None:
        assert name not in path, " -> ".join([*path[path.index(name) :], name])
        if name not in done:
            for target in edges[name]:
                visit(target, (*path, name))
            done.add(name)

    for name in names:
        visit(name, ())


def module_name(file: Path) -> str:
    parts = file.relative_to(SERVER.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def test_an_init_file_holds_a_docstring_and_nothing_else() -> None:
    for file in SERVER.rglob("__init__.py"):
        if "_carried" in file.parts or file.parent.name == "models":
            continue
        body = ast.parse(file.read_text(encoding="utf-8")).body
        assert len(body) == 1 and isinstance(body[0], ast.Expr), file
