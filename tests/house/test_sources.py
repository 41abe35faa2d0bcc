"""House rules that an import checker can't see: no rule written twice, no write past the services, no giant."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
OWN = [
    path
    for top in ("registry", "api", "fixtures_demo", "tests")
    for path in sorted((ROOT / top).rglob("*.py"))
    if "migrations" not in path.parts
]
LONGEST_FILE, LONGEST_FUNCTION = 500, 60

# What changes rows: managers' and querysets' methods, and a row's own. The API's repeat guard and
# request counter keep rows of their own, which are no domain data.
MANAGER_WRITES = {
    *("create", "bulk_create", "get_or_create", "update_or_create", "bulk_update", "update", "delete"),
    *("acreate", "aupdate", "adelete"),
}
ROW_WRITES = {"save", "asave", "adelete", "delete", "full_clean_and_save"}
KEEPS_OWN_ROWS = {"api/idempotency.py", "api/throttles.py"}
ORM_ROOTS = {"objects", "filter", "exclude", "all", "select_for_update", "get_queryset", "order_by"}


def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def chain_of(node: ast.expr) -> list[str]:
    """Names along a.b(c).d, outermost last."""
    names: list[str] = []
    while True:
        if isinstance(node, ast.Call):
            node = node.func
        elif isinstance(node, ast.Attribute):
            names.insert(0, node.attr)
            node = node.value
        else:
            return names


def orm_writes(tree: ast.Module) -> list[int]:
    """Lines that write rows: Model.objects….create(), queryset.update(), anything.save() or .delete()."""
    lines = []
    for node in ast.walk(tree):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
            continue
        *before, method = chain_of(node)
        on_rows = bool(ORM_ROOTS & set(before))
        if method in ROW_WRITES or (method in MANAGER_WRITES and on_rows) or method.startswith("bulk_"):
            lines.append(node.lineno)
    return lines


@pytest.mark.parametrize(
    "source, writes",
    [
        ("Lens.objects.create(name='x')", True),
        ("lens.save()", True),
        ("serializer.save(by=request.user)", True),
        ("Lens.objects.filter(pk=1).update(name='x')", True),
        ("report.sweeps.all().delete()", True),
        ("context.update(lens=lens)", False),
        ("services.propose_lens(by=request.user)", False),
        ("Lens.objects.filter(pk=1).first()", False),
    ],
)
def test_the_search_for_writes_knows_one_when_it_sees_it(source, writes):
    assert bool(orm_writes(ast.parse(source))) is writes


def test_pages_and_api_write_no_rows():
    edges = [
        path
        for path in OWN
        if path.is_relative_to(ROOT / "registry/pages") or path.is_relative_to(ROOT / "api")
    ]
    found = {
        str(path.relative_to(ROOT)): lines
        for path in edges
        if str(path.relative_to(ROOT)) not in KEEPS_OWN_ROWS and (lines := orm_writes(tree_of(path)))
    }
    assert found == {}


def test_no_file_is_longer_than_five_hundred_lines():
    lengths = {
        str(path.relative_to(ROOT)): len(path.read_text(encoding="utf-8").splitlines()) for path in OWN
    }
    assert {name: length for name, length in lengths.items() if length > LONGEST_FILE} == {}


def test_no_function_is_longer_than_sixty_lines():
    long = {
        f"{path.relative_to(ROOT)}:{node.name}": node.end_lineno - node.lineno + 1
        for path in OWN
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.end_lineno - node.lineno + 1 > LONGEST_FUNCTION
    }
    assert long == {}


def test_no_test_hides_another_of_the_same_name():
    doubled = []
    for path in (path for path in OWN if path.name.startswith("test_")):
        tree = tree_of(path)
        for scope in [tree, *(node for node in ast.walk(tree) if isinstance(node, ast.ClassDef))]:
            names = [node.name for node in scope.body if isinstance(node, ast.FunctionDef)]
            doubled += [f"{path.relative_to(ROOT)}:{name}" for name in names if names.count(name) > 1]
    assert doubled == []


def test_nothing_is_left_to_do_later():
    # Written in parts, so that this file does not find itself.
    marks = re.compile(
        "|".join(
            ["TO" + "DO", "FIX" + "ME", "raise Not" + "ImplementedError", r"mark\.sk" + "ip", "xfa" + "il"]
        )
    )
    found = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in OWN
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if marks.search(line)
    ]
    assert found == []


def test_no_room_is_called_by_what_it_is_not_about():
    vague = {"utils", "util", "common", "helpers", "misc"}
    assert [str(path) for path in OWN if vague & {path.stem, *path.relative_to(ROOT).parts}] == []
