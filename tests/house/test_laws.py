"""What import contracts cannot show: one pen, no clock, documented public functions, short views."""

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
WRITERS = ("actions/", "migrations/", "/audit.py", "/bulk.py", "/acts.py", "/apps.py", "/guards.py")
CLOCKS = ("/web/", "/management/")
WRITING = {"save", "delete", "create", "bulk_create", "bulk_update", "get_or_create", "update_or_create"}
LONGEST_VIEW = 30


def sources() -> Iterator[tuple[str, ast.Module]]:
    for package in ("labresults", "reports"):
        for path in sorted((ROOT / package).rglob("*.py")):
            if "static" in path.parts:
                continue  # a tool that makes a font, run by hand
            yield str(path.relative_to(ROOT)), ast.parse(path.read_text(encoding="utf-8"))


def calls(tree: ast.AST) -> Iterator[ast.Call]:
    return (node for node in ast.walk(tree) if isinstance(node, ast.Call))


def functions(tree: ast.AST) -> Iterator[ast.FunctionDef]:
    return (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef))


def _writes(call: ast.Call) -> bool:
    """Whether a call writes rows: `.objects.create(...)`, `.save()`, and their like."""
    function = call.func
    if not isinstance(function, ast.Attribute):
        return False
    on_objects = isinstance(function.value, ast.Attribute) and function.value.attr == "objects"
    return (function.attr in WRITING and (on_objects or function.attr in {"save", "delete"})) or (
        function.attr == "update" and ".objects" in ast.unparse(function.value)
    )


def test_only_acts_write() -> None:
    found = [
        f"{path}:{call.lineno} {ast.unparse(call)[:60]}"
        for path, tree in sources()
        if not any(part in path for part in WRITERS)
        for call in calls(tree)
        if _writes(call) and not _is_a_file(call)
    ]
    assert found == []


def _is_a_file(call: ast.Call) -> bool:
    """Uploads on their way, and workbooks, are files and not rows."""
    return any(word in ast.unparse(call) for word in ("storage.", "workbook.", "book."))


def test_only_pages_and_commands_read_the_clock() -> None:
    found = [
        f"{path}:{call.lineno}"
        for path, tree in sources()
        if not any(part in path for part in CLOCKS)
        for call in calls(tree)
        if ast.unparse(call.func) in {"timezone.now", "datetime.now", "date.today", "datetime.today", "localdate"}
    ]
    assert found == []


def test_every_public_function_of_the_careful_parts_is_documented() -> None:
    careful = tuple(f"labresults/{part}" for part in ("calculation", "readers", "actions", "queries"))
    found = [
        f"{path}: {node.name}"
        for path, tree in sources()
        if path.startswith((*careful, "reports/rules"))
        for node in tree.body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_") and ast.get_docstring(node) is None
    ]
    assert found == []


def test_views_stay_short() -> None:
    found = [
        f"{path}: {node.name}, {node.end_lineno - node.lineno + 1} lines"
        for path, tree in sources()
        if "/web/views/" in path
        for node in functions(tree)
        if node.end_lineno is not None and node.end_lineno - node.lineno + 1 > LONGEST_VIEW
    ]
    assert found == []


def test_nothing_comes_from_elsewhere() -> None:
    """No page or style sheet of ours names an address outside the site."""
    found = [
        str(path.relative_to(ROOT))
        for package in ("labresults", "reports")
        for path in (ROOT / package).rglob("*")
        if path.suffix in {".html", ".css", ".js"}
        and "vendor" not in path.parts
        and any(word in path.read_text(encoding="utf-8") for word in ("https://", "//cdn", "http://"))
        and "www.w3.org" not in path.read_text(encoding="utf-8")
    ]
    assert found == []


def test_the_map_of_the_developers_names_what_is_there() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    missing = [
        str(path.relative_to(ROOT))
        for package in ("labresults", "reports")
        for path in sorted((ROOT / package).iterdir())
        if not path.name.startswith("_") and path.name not in text and path.stem not in text
    ]
    assert missing == []
