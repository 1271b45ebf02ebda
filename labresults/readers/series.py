"""Identifications that count: a prefix, from, to, and what is left out."""

import re

MOST = 5000
"""Identifications that one series may give."""


class BadSeries(ValueError):
    """What cannot be counted, in words: what, and what to do."""


def series(prefix: str, first: str, last: str, skipping: str = "", suffix: str = "") -> tuple[str, ...]:
    """Return the identifications from `first` to `last`, counting down where `first` is the larger.

    Zeros before `first` are kept: from 001 to 120 gives 001, 002, ... 120. skipping: numbers and ranges between
    commas, such as "3, 7-9"; each must lie in the series. Raises BadSeries.
    """
    start, end = _count("From", first), _count("To", last)
    step = 1 if start <= end else -1
    if abs(end - start) >= MOST:
        raise BadSeries(f"From {first} to {last} are {abs(end - start) + 1} samples. Give at most {MOST} at once.")
    width = len(first.strip())
    left_out = _skipped(skipping, min(start, end), max(start, end))
    numbers = [number for number in range(start, end + step, step) if number not in left_out]
    if not numbers:
        raise BadSeries("Every number of the series is skipped. Skip fewer, or none.")
    return tuple(f"{prefix}{number:0{width}d}{suffix}" for number in numbers)


def _count(name: str, text: str) -> int:
    bare = text.strip()
    if not re.fullmatch(r"[0-9]{1,12}", bare):
        raise BadSeries(f"{name}: “{text}” is not a whole number. Give it as 1 or 001; letters belong to the prefix.")
    return int(bare)


def _skipped(text: str, low: int, high: int) -> frozenset[int]:
    found: set[int] = set()
    for part in re.split(r"[,;]", text):
        if not part.strip():
            continue
        bounds = re.fullmatch(r"\s*([0-9]{1,12})\s*(?:(?:[-\u2013]|to)\s*([0-9]{1,12}))?\s*", part)
        if not bounds:
            raise BadSeries(f"Skipping: “{part.strip()}” is neither a number nor a range. Write it as 3, 7-9.")
        first = int(bounds[1])
        last = int(bounds[2] or first)
        if not low <= first <= last <= high:
            raise BadSeries(f"Skipping: “{part.strip()}” does not lie between {low} and {high}. Correct it.")
        found |= set(range(first, last + 1))
    return frozenset(found)
