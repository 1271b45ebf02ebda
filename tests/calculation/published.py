"""The published numbers that the tests stand on, and how closely they must be met."""

import json
from pathlib import Path
from typing import Any

import pytest

FOLDER = Path(__file__).parent.parent / "reference"


def published(name: str) -> Any:
    """Return a file of tests/reference by its name."""
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def as_printed(text: str) -> Any:
    """Return what a number must be to print as `text`: within half a unit of its last digit (and a hair)."""
    mantissa, _, exponent = text.upper().partition("E")
    decimals = len(mantissa.partition(".")[2])
    half_unit = 0.5 * 10.0 ** (int(exponent or 0) - decimals)
    return pytest.approx(float(text), rel=0, abs=half_unit * 1.000001)


def to_digits(text: str, digits: int) -> Any:
    """Return what a number must be to agree with `text` in so many significant digits."""
    return pytest.approx(float(text), rel=10.0**-digits, abs=1e-300)
