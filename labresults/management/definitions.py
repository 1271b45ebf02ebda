"""Definitions of derived results, read from files."""

import tomllib
from pathlib import Path
from typing import Any

from labresults.acts import BadInput
from labresults.terms import BelowInSum, DerivedForm

SETTINGS = frozenset(
    {"code", "name", "reported_as", "unit", "form", "terms", "source", "below", "all_needed", "remark"}
)


def read_definition(path: Path) -> dict[str, Any]:
    """What the act takes, from a TOML file. Raises BadInput where the file cannot be read or has another setting."""
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
        unknown = sorted(set(raw) - SETTINGS)
        if unknown:
            raise ValueError(f"{', '.join(unknown)} is no setting of a definition")
        return raw | {"form": DerivedForm(raw["form"]), "below": BelowInSum(raw.get("below", BelowInSum.ZERO))}
    except (OSError, ValueError, KeyError) as error:
        words = ", ".join(form.value for form in DerivedForm)
        raise BadInput(f"{path.name} cannot be read: {error}. Its form is one of: {words}.") from error
