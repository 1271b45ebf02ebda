"""Rows of one place and line: put together as replicates where the layout says so, else a problem in words."""

import math
from collections.abc import Iterator, Sequence
from itertools import groupby
from operator import itemgetter

from labresults.readers.layout import Blocks, Layout
from labresults.readers.observations import Observation
from labresults.readers.problem import Problem

_FIELD = Observation._fields.index
_LINE, _POSITION_AND_LABEL = itemgetter(_FIELD("line")), itemgetter(_FIELD("position"), _FIELD("label"))

Place = int | str
"""A numbered position is one place whatever it is called; without a number its label is, spaces round it left out."""


def place_of(o: Observation) -> Place:
    """Return where an observation stands in the run."""
    return o.label.strip() if o.position is None else o.position


def grouped(observations: Sequence[Observation], layout: Layout) -> tuple[list[Observation], list[Problem]]:
    """Return one observation for each place and line: rows are put together as replicates, or are duplicates."""
    places = [o.label.strip() if o.position is None else o.position for o in observations]
    keys = list(zip(places, map(_LINE, observations), strict=True))
    problems = _other_labels(observations)
    if len(set(keys)) == len(keys):
        return list(observations), problems
    groups: dict[tuple[Place, str], list[Observation]] = {}
    for key, o in zip(keys, observations, strict=True):
        if key in groups:
            groups[key].append(o)
        else:
            groups[key] = [o]
    if layout.repeated_rows or layout.blocks is Blocks.REPLICATE:
        problems += _out_of_turn(observations, places, layout)
    if not layout.repeated_rows:
        duplicates = [o for group in groups.values() for o in group[1:] if not _may_repeat(o, group, layout)]
        problems += _duplicates(sorted(duplicates, key=lambda o: o.row), observations, groups)
    return [group[0] if len(group) == 1 else _together(group, layout) for group in groups.values()], problems


def _may_repeat(o: Observation, group: Sequence[Observation], layout: Layout) -> bool:
    if layout.repeated_rows:
        return True
    return layout.blocks is Blocks.REPLICATE and sum(other.block == o.block for other in group) == 1


def _together(group: Sequence[Observation], layout: Layout) -> Observation:
    """Replicates in the order of the file; the instrument's concentrations as their mean."""
    first = group[0]
    taken = group if layout.repeated_rows else [first, *(o for o in group[1:] if _may_repeat(o, group, layout))]
    texts, values, over = first.texts, first.values, first.over
    for o in taken[1:]:  # a plain loop: there are as many groups as readings
        texts, values, over = texts + o.texts, values + o.values, over or o.over
    together = Observation._make((*first[:5], texts, values, over, *first[8:]))
    if any([o.concentration is not None or o.mean_text or o.time for o in taken]):
        return _with_the_rest(together, taken)
    return together


def _with_the_rest(together: Observation, taken: Sequence[Observation]) -> Observation:
    found = [o.concentration for o in taken if o.concentration is not None]
    means = [o for o in taken if o.mean_text.strip()]
    return together._replace(
        mean=means[0].mean if means else None,
        mean_text=means[0].mean_text if means else "",
        time=next((o.time for o in taken if o.time), ""),
        concentration=math.fsum(found) / len(found) if found else None,
    )


def _other_labels(observations: Sequence[Observation]) -> list[Problem]:
    """Say where one position has two labels."""
    pairs = set(map(_POSITION_AND_LABEL, observations))
    if len(pairs) == len({position for position, _ in pairs}):
        return []
    first: dict[int, Observation] = {}
    said: set[tuple[int, str]] = set()
    problems = []
    for o in observations:
        if o.position is None:
            continue
        known = first.setdefault(o.position, o)
        if known.label != o.label and (o.position, o.label) not in said:
            said.add((o.position, o.label))
            what = f"position {o.position} is “{o.label}” here and “{known.label}” in row {known.row}."
            remedy = "Correct the one that is wrong: one position has one label. Two cups may bear one number."
            problems.append(Problem(o.row, None, what, remedy, o.label, known.label))
    return problems


def _duplicates(
    duplicates: Sequence[Observation],
    observations: Sequence[Observation],
    groups: dict[tuple[Place, str], list[Observation]],
) -> list[Problem]:
    """Name each duplicate; places that come again one after the other, behind others, are named as what they are."""
    problems: list[Problem] = []
    for run in _one_after_another(duplicates, observations):
        places = list(dict.fromkeys(place_of(o) for o in run))
        if len(places) > 1:
            problems.append(_again(run, places, groups))
            continue
        problems += [_already(o, groups[place_of(o), o.line][0]) for o in run]
    return problems


def _one_after_another(
    duplicates: Sequence[Observation], observations: Sequence[Observation]
) -> Iterator[list[Observation]]:
    """Yield the duplicates whose rows follow each other in the table with nothing new between them."""
    rows = {row: at for at, row in enumerate(dict.fromkeys(o.row for o in observations))}
    for _, run in groupby(enumerate(dict.fromkeys(o.row for o in duplicates)), lambda pair: pair[0] - rows[pair[1]]):
        wanted = {row for _, row in run}
        yield [o for o in duplicates if o.row in wanted]


def _again(
    run: Sequence[Observation], places: Sequence[Place], groups: dict[tuple[Place, str], list[Observation]]
) -> Problem:
    firsts = [groups[place_of(o), o.line][0].row for o in run]
    labels = list(dict.fromkeys(o.label or str(o.position) for o in run))
    names = ", ".join(f"“{label}”" for label in labels[:3])
    more = f" and {len(places) - 3} more" if len(places) > 3 else ""
    what = (
        f"rows {run[0].row} to {run[-1].row} bring {names}{more} again, which stand in rows {min(firsts)} to"
        f" {max(firsts)} already: a second calibration that nobody announced, or a part of the run twice."
    )
    remedy = "Plan the run with what was read again, or strike these rows with the reason why they were read again."
    return Problem(run[0].row, None, what, remedy, names, "each position once")


def _already(o: Observation, first: Observation) -> Problem:
    place = f"position {o.position}" if o.position is not None else f"“{o.label}”"
    return Problem(
        o.row,
        o.column,
        f"{place} has {o.line} already in row {first.row}.",
        "Take one of them out (two cups may bear one number), or say in the layout that repeated rows are replicates.",
        found=f"{place} twice",
        expected="each position and line once",
    )


def _out_of_turn(observations: Sequence[Observation], places: Sequence[Place], layout: Layout) -> list[Problem]:
    """Say which place comes again after others, where neither all do so nor its lines stand together.

    Replicates stand together, or the whole run is read again and again; a lone one further down is another cup with
    the same number, or a second reading of the solution.
    """
    if layout.blocks is Blocks.REPLICATE:
        return []
    in_turn = [place for place, _ in groupby(places)]
    if _each_once(in_turn) or _in_rounds(in_turn):
        return []
    if _each_once([key for key, _ in groupby(zip(places, map(_LINE, observations), strict=True))]):
        return []
    by_place = [(place, list(of)) for place, of in groupby(observations, place_of)]
    seen: set[Place] = set()
    problems = []
    for place, of in by_place:
        if place in seen:
            shown = f"position {place}" if isinstance(place, int) else f"“{place}”"
            what = f"{shown} comes again here, after other positions."
            remedy = "Replicates stand together: strike the rows of another cup, or of a second reading, with a reason."
            problems.append(Problem(of[0].row, None, what, remedy, shown, "replicates one after the other"))
        seen.add(place)
    return problems


def _each_once(items: Sequence[object]) -> bool:
    return len(set(items)) == len(items)


def _in_rounds(places: Sequence[Place]) -> bool:
    """Whether all places come again in the same order, round after round."""
    one = list(dict.fromkeys(places))
    return len(places) % len(one) == 0 and list(places) == one * (len(places) // len(one))
