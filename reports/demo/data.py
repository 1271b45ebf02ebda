"""The files of the invented laboratory (fixtures/demo), read once."""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "demo"


@cache
def read(name: str) -> dict[str, Any]:
    """Return what a file of the demonstration says: `read("truth")` is fixtures/demo/truth.toml."""
    return tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))


def method_names() -> list[str]:
    """Return the names of the method files, those first that others build on: ore grade follows what it is of."""
    names = sorted(path.stem for path in (FOLDER / "methods").glob("*.toml"))
    return sorted(names, key=lambda name: "ore_grade_of" in read(f"methods/{name}"))
