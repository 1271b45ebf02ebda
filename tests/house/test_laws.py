"""What import contracts cannot show: one pen, no clock, documented public functions, short views."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
WRITERS = ("actions/", "migrations/", "/audit.py", "/bulk.py", "/acts.py", "/apps.py", "/guards.py")
CLOCKS = ("/web/", "/management/")
WRITING = {"save", "delete", "create", "bulk_create", "bulk_update", "get_or_create", "update_or_create"}
PAST_THE_MODELS = {
    "labresults/acts.py",
    "labresults/bulk.py",
    "labresults/guards.py",
    "labresults/finding.py",
    "labresults/queries/hits.py",
    "labresults/checks.py",
}
"""Modules that speak SQL: the lock, the one bulk door, the guards, the index that finds, what asks it, the checks."""
LONGEST_VIEW = 25
LATE = {
    "labresults/apps.py": "models must be there first",
    "labresults/queries/frames.py": "most of a second, for those who ask for a table only",
    "reports/render/printing.py": "a machine without Pango can still do all else",
}
"""Modules that import inside a function, each with why."""


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
    """Whether a call writes rows: `.create(...)` of any manager, `.save()`, and their like.

    Others have an `update` too: that of rows takes names only, or stands after something that finds rows.
    """
    function = call.func
    if not isinstance(function, ast.Attribute):
        return False
    by_name = bool(call.keywords) and not call.args
    found_rows = any(word in ast.unparse(function.value) for word in (".objects", ".filter(", ".exclude(", ".all("))
    return function.attr in WRITING or (function.attr == "update" and (by_name or found_rows))


def _reads_the_clock(call: ast.Call) -> bool:
    """Whether a call asks what time it is, under whatever name it came in."""
    name = ast.unparse(call.func)
    here_and_now = name.endswith("localtime") and not (call.args or call.keywords)
    return here_and_now or name == "time.time" or name.split(".")[-1] in {"now", "today", "utcnow", "localdate"}


def first_call(source: str) -> ast.Call:
    return next(calls(ast.parse(source)))


@pytest.mark.parametrize(
    ("source", "is_one"),
    [
        ("Sample.objects.create(number=1)", True),
        ("Sample._default_manager.bulk_create(rows)", True),
        ("batch.portions.create(tube=1)", True),
        ("sample.save()", True),
        ("run.readings.filter(pk=1).update(value=2)", True),
        ("rows.update(value=2)", True),
        ("levels.update(last)", False),
        ("sha.update(b'x')", False),
        ("Sample.objects.filter(pk=1)", False),
    ],
)
def test_writing_is_recognised(source: str, is_one: bool) -> None:
    assert _writes(first_call(source)) is is_one


@pytest.mark.parametrize(
    ("source", "is_one"),
    [
        ("timezone.now()", True),
        ("now()", True),
        ("datetime.datetime.now(UTC)", True),
        ("date.today()", True),
        ("timezone.localtime()", True),
        ("timezone.localtime(at)", False),
        ("at.date()", False),
    ],
)
def test_a_look_at_the_clock_is_recognised(source: str, is_one: bool) -> None:
    assert _reads_the_clock(first_call(source)) is is_one


def test_the_laws_are_read_over_the_whole_program() -> None:
    packages = {path.split("/")[1] for path, _ in sources() if path.count("/") > 1}
    assert {"actions", "calculation", "queries", "readers", "render", "rules", "web"} <= packages


def test_only_acts_write() -> None:
    found = [
        f"{path}:{call.lineno} {ast.unparse(call)[:60]}"
        for path, tree in sources()
        if not any(part in path for part in WRITERS)
        for call in calls(tree)
        if _writes(call) and not _is_a_file(call)
    ]
    assert found == []


def test_only_four_modules_speak_sql() -> None:
    found = {path for path, tree in sources() for call in calls(tree) if ast.unparse(call.func).endswith(".cursor")}
    assert found == PAST_THE_MODELS


def _is_a_file(call: ast.Call) -> bool:
    """Uploads on their way, workbooks and what a cache keeps are no rows."""
    return any(word in ast.unparse(call) for word in ("storage.", "workbook.", "book.", "pdf.", "cache.", "caches["))


def test_only_pages_and_commands_read_the_clock() -> None:
    found = [
        f"{path}:{call.lineno}"
        for path, tree in sources()
        if not any(part in path for part in CLOCKS)
        for call in calls(tree)
        if _reads_the_clock(call)
    ]
    assert found == []


def test_imports_stand_at_the_top_but_for_those_that_say_why() -> None:
    found = {
        path
        for path, tree in sources()
        for function in functions(tree)
        for node in ast.walk(function)
        if isinstance(node, ast.Import | ast.ImportFrom)
    }
    assert found == set(LATE)


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
