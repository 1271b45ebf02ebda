"""Published numbers, read from tests/reference."""

import json
from pathlib import Path
from typing import Any

REFERENCE = Path(__file__).parent.parent / "reference"


def published(name: str) -> Any:
    """Return what tests/reference/<name>.json holds."""
    return json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))
