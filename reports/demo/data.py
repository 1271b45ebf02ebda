"""The files of the invented laboratory (fixtures/demo), read once, and moved to the week in which the story is told.

The files state one week of November 2026. A demonstration that stood still would be late in everything, with expired
standards, for whoever looks at it later; so all its times move together, by whole weeks.
"""

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
FOLDER = FIXTURES / "demo"
LAST_MONDAY = date(2026, 11, 16)
"""The last day of the story as the files state it."""

_moved_by: ContextVar[timedelta] = ContextVar("moved_by", default=timedelta(0))


@contextmanager
def ending_on(monday: date) -> Iterator[None]:
    """Move every time that is read inside by whole weeks, so that the story's last day is this Monday.

    Raises ValueError for another day of the week.
    """
    if monday.weekday() != 0:
        raise ValueError(f"{monday} is not a Monday.")
    token = _moved_by.set(monday - LAST_MONDAY)
    try:
        yield
    finally:
        _moved_by.reset(token)


def moved(value: Any) -> Any:
    """Return dates and times moved, inside lists and tables too; anything else as it is."""
    if isinstance(value, date):  # a datetime is one as well
        return value + _moved_by.get()
    if isinstance(value, dict):
        return {key: moved(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [moved(inner) for inner in value]
    return value


def november(day: int, hour: int, minute: int) -> datetime:
    """Return a time in the story's November, UTC, moved with everything else."""
    at: datetime = moved(datetime(2026, 11, day, hour, minute, tzinfo=UTC))
    return at


def read(name: str) -> dict[str, Any]:
    """Return what a file of the demonstration says: `read("truth")` is fixtures/demo/truth.toml, its dates moved."""
    found: dict[str, Any] = moved(_stated(name))
    return found


@cache
def _stated(name: str) -> dict[str, Any]:
    return tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))


def plausibility_rules() -> list[dict[str, Any]]:
    """Return the rules of plausibility (fixtures/plausibility.toml)."""
    rules: list[dict[str, Any]] = tomllib.loads((FIXTURES / "plausibility.toml").read_text(encoding="utf-8"))["rules"]
    return rules


def criteria_of(named: Mapping[str, Sequence[str]]) -> list[dict[str, Any]]:
    """Return the criteria that a method names, by set (fixtures/criteria) and name, as `add_method_version` takes them.

    A criterion that names several `roles` is one for each. Raises KeyError for a name that its set lacks.
    """
    found = []
    for name, keys in named.items():
        entered = tomllib.loads((FIXTURES / "criteria" / f"{name}.toml").read_text(encoding="utf-8"))
        for criterion in (dict(entered[key]) for key in keys):
            roles = criterion.pop("roles", None) or [criterion.pop("role")]
            found += [criterion | {"role": role} for role in roles]
    return found


def method_names() -> list[str]:
    """Return the names of the method files, those first that others build on: ore grade follows what it is of."""
    names = sorted(path.stem for path in (FOLDER / "methods").glob("*.toml"))
    return sorted(names, key=lambda name: "ore_grade_of" in read(f"methods/{name}"))
