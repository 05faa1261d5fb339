"""The house of pages, measured: ratchets that may only fall, and rules that hold at once.

    python -m pytest tests/test_house.py -s        prints the table

A number may be lowered here when the house got smaller; raising one needs a better reason than
a new page.
"""

import ast
import csv
import re
from collections.abc import Iterator
from pathlib import Path
from statistics import median, quantiles

import pytest
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute

from server.web.app import ROUTERS
from server.web.forms import Form

ROOT = Path(__file__).parent.parent
WEB = ROOT / "server" / "web"
ADDRESSES = Path(__file__).parent / "published" / "addresses.csv"

# What is allowed today. Goals: 20,000 lines, no pair, no long file, 6 and 16 lines of body.
MOST_LINES = 26_259
MOST_PAIRS = 2
MOST_LONG_FILES = 0
MEDIAN_BODY, P90_BODY = 6.5, 18  # short functions that write numbers moved to server/wording
LONG_FILE = 400

# Families whose routes still open things by hand; none may join, each that is done leaves.
OPENS_BY_HAND = {
    "acclimation", "tanks",
}  # fmt: skip
SELECTS_IN_PAGES: set[str] = set()
VIEWS_WITH_A_DATABASE: set[str] = set()

FILES = sorted(WEB.rglob("*.py"))


def family_of(file: Path) -> str:
    """The folder below server/web; '' for what belongs to all pages."""
    parts = file.relative_to(WEB).parts
    return parts[0] if len(parts) > 1 else ""


FAMILIES = {family_of(file) for file in FILES} - {""}


def lines_of(file: Path) -> int:
    return len(file.read_text(encoding="utf-8").splitlines())


def test_the_house_gets_no_larger(capsys: pytest.CaptureFixture[str]) -> None:
    lines = sum(map(lines_of, FILES))
    pairs = sorted(pairs_of_families())
    long = {str(f.relative_to(WEB)): lines_of(f) for f in FILES if lines_of(f) > LONG_FILE}
    bodies = list(body_lengths(FILES))
    middle, ninth = median(bodies), quantiles(bodies, n=10)[-1]
    with capsys.disabled():
        print(f"\n  server/web: {lines} lines in {len(FILES)} files (goal 20,000)")
        print(f"  families importing another: {len(pairs)} (goal 0)")
        print(f"  files over {LONG_FILE} lines: {long or 'none'}")
        print(f"  function bodies: median {middle:g}, 90 of 100 within {ninth:g} (goal 6, 16)")
    assert lines <= MOST_LINES
    assert len(pairs) <= MOST_PAIRS, pairs
    assert len(long) <= MOST_LONG_FILES, long
    assert middle <= MEDIAN_BODY
    assert ninth <= P90_BODY


def test_no_page_holds_a_query() -> None:
    found = {
        str(file.relative_to(WEB))
        for file in FILES
        if re.search(r"(?<![\w.])select\(", file.read_text(encoding="utf-8"))
    }
    assert found <= SELECTS_IN_PAGES


def test_no_view_takes_a_database() -> None:
    found = {
        str(file.relative_to(WEB))
        for file in FILES
        if file.stem.endswith("view") and {"Session", "Database", "Club"} & names_of_arguments(file)
    }
    assert found <= VIEWS_WITH_A_DATABASE


def test_every_address_of_before_is_still_there() -> None:
    with ADDRESSES.open(encoding="utf-8") as table:
        before = {(row["method"], row["path"]) for row in csv.DictReader(table)}
    now = {(method, route.path) for route in routes() for method in route.methods}
    assert before - now <= {("GET", "/healthz")}  # added by the app itself


def test_a_route_with_an_id_has_an_opener() -> None:
    """What a route may touch stands in its signature: each id is opened, not only read."""
    bare = [
        f"{route.endpoint.__module__}.{route.endpoint.__name__}: {sorted(ids)}"
        for route in routes()
        if family_of_route(route) not in OPENS_BY_HAND and (ids := unopened(route))
    ]
    assert not bare, bare


def test_families_that_are_done_leave_the_list() -> None:
    still = {family_of_route(route) for route in routes() if unopened(route)}
    assert still == OPENS_BY_HAND


def test_titles_end_in_one_place() -> None:
    for template in (ROOT / "templates").rglob("*.html"):
        titles = re.findall(r"block title %}(.*?){% endblock", template.read_text(encoding="utf-8"))
        assert not any("Underlamp" in title for title in titles), template


def test_every_field_of_a_form_has_a_label_and_a_name_of_its_own() -> None:
    forms = {id(one): one for route in routes() for one in forms_of(route)}
    assert forms
    for form in forms.values():
        for name, field in form.fields.items():
            assert name == field.name and field.label


def routes() -> list[APIRoute]:
    return [one for router in ROUTERS for one in router.routes if isinstance(one, APIRoute)]


def family_of_route(route: APIRoute) -> str:
    return route.endpoint.__module__.split(".")[2]


def unopened(route: APIRoute) -> set[str]:
    """Ids in the address that no opener takes."""
    ids = set(re.findall(r"{(\w+_id)}", route.path))
    opened = {
        field.name
        for one in flat(route.dependant)
        if getattr(one.call, "__module__", "") in ("server.web.open", "server.web.open_hung")
        for field in one.path_params
    }
    return ids - opened


def flat(dependant: Dependant) -> Iterator[Dependant]:
    for one in dependant.dependencies:
        yield one
        yield from flat(one)


def forms_of(route: APIRoute) -> list[Form]:
    return [one for one in route.endpoint.__globals__.values() if isinstance(one, Form)]


def pairs_of_families() -> set[tuple[str, str]]:
    """(family, another family it imports)."""
    found = set()
    for file in FILES:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                names = [f"{node.module}.{alias.name}" for alias in node.names]
                found |= {
                    (family_of(file), name.split(".")[2])
                    for name in names
                    if name.startswith("server.web.") and name.split(".")[2] in FAMILIES
                }
    return {(one, other) for one, other in found if one and one != other}


def body_lengths(files: list[Path]) -> Iterator[int]:
    """Lines of each function's body, docstring left out."""
    for file in files:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                body = node.body[1:] if ast.get_docstring(node) else node.body
                if body:
                    yield (body[-1].end_lineno or 0) - body[0].lineno + 1


def names_of_arguments(file: Path) -> set[str]:
    tree = ast.parse(file.read_text(encoding="utf-8"))
    return {
        name.id
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef)
        for argument in [*node.args.args, *node.args.kwonlyargs]
        if argument.annotation
        for name in ast.walk(argument.annotation)
        if isinstance(name, ast.Name)
    }
