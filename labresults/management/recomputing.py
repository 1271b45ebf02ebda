"""An evaluation computed again from the stored readings, and compared value by value with what is stored of it."""

import json
from collections.abc import Iterator, Mapping, Sequence
from math import isclose
from typing import Any

from django.core.exceptions import ObjectDoesNotExist
from django.db.models import Model

from labresults.actions.evaluation import Computed, compute_again
from labresults.actions.storing import rows_of
from labresults.acts import Refusal
from labresults.models import Calibration, ControlOutcome, Evaluation, Result
from labresults.queries.repeats import as_rows
from labresults.queries.run_digests import inputs_digest, outputs_digest, this_platform

_KEYS = {
    Calibration: ("block", "line"),
    ControlOutcome: ("position", "line", "criterion"),
    Result: ("position", "line"),
}
_ELSEWHERE = 1e-12
"""Relative difference that is the same on another platform, where sums may round otherwise."""


def differences(evaluation: Evaluation) -> Iterator[str]:
    """What is stored of an evaluation and is computed otherwise now, in words; about 25 queries, nothing is written."""
    name = f"{evaluation.run}, evaluation {evaluation.version}"
    try:
        again = compute_again(evaluation)
    except (Refusal, ObjectDoesNotExist, ValueError, LookupError, TypeError, AttributeError, ArithmeticError) as error:
        yield f"{name} cannot be computed again: {error}"
        return
    yield from (f"{name}: {said}" for said in _of_digests(evaluation, again))
    for model, columns in rows_of(evaluation, again.loaded, again.evaluated).items():
        yield from (f"{name}: {said}" for said in _of_rows(model, columns, evaluation))


def _of_digests(evaluation: Evaluation, again: Computed) -> Iterator[str]:
    if inputs_digest(again.loaded) != evaluation.inputs_sha256:
        yield "its inputs are not what they were."
    elif evaluation.platform == this_platform() and outputs_digest(again.evaluated) != evaluation.outputs_sha256:
        yield "the same inputs give another output."
    counted = {str(measure): count for measure, count in sorted(again.evaluated.counted.items())}
    if counted != evaluation.counted:
        yield f"{evaluation.counted} readings judged are stored, {counted} computed again."
    if json.loads(json.dumps(as_rows(again.evaluated.repeats))) != evaluation.repeats:
        yield "its proposed repeats are not those that are computed again."


def _of_rows(model: type[Model], columns: Mapping[str, Sequence[Any]], evaluation: Evaluation) -> Iterator[str]:
    """Rows of one table against those stored; one query, and some to name what differs."""
    names = list(columns)
    places = [names.index(name) for name in _KEYS[model]]
    computed = {tuple(row[p] for p in places): row for row in zip(*columns.values(), strict=True)}
    stored = model._default_manager.filter(evaluation=evaluation).values_list(*names, named=False)
    found = {tuple(row[p] for p in places): row for row in stored}
    exact = evaluation.platform == this_platform()
    for key in sorted(computed.keys() | found.keys()):
        old, new = found.get(key), computed.get(key)
        if old is None or new is None:
            lost = "is computed, and not stored" if old is None else "is stored, and not computed"
            yield f"{_named(model, names, (new or old or ()))} {lost}."
            continue
        for name, before, after in zip(names, old, new, strict=True):
            if not _same(before, after, exact):
                yield f"{_named(model, names, new)}: {name} {before} is stored, {after} computed again."


def _same(stored: Any, computed: Any, exact: bool) -> bool:
    if isinstance(computed, str) and not isinstance(stored, str):
        computed = json.loads(computed)
    if isinstance(computed, tuple | list):
        pairs = zip(stored, computed, strict=False)
        return len(stored) == len(computed) and all(_same(one, other, exact) for one, other in pairs)
    if isinstance(stored, float) and isinstance(computed, float) and not exact:
        return isclose(stored, computed, rel_tol=_ELSEWHERE)
    return bool(stored == computed)


def _named(model: type[Model], names: Sequence[str], row: Sequence[Any]) -> str:
    """What a row is of, in words; up to three queries."""
    given = dict(zip(names, row, strict=True))
    row_of = {name: _look_up(model, name, given[name]) for name in ("position", "sample", "line") if name in given}
    what = [str(model._meta.verbose_name)]
    if "element" in given:
        what = [given["element"], f"in {row_of['sample'] or row_of['position']}"]
    elif "position" in row_of:
        what.append(str(row_of["position"]))
    if "block" in given:
        what.append(f"block {given['block']}")
    return " ".join([*what, f"at {row_of['line']}"])


def _look_up(model: type[Model], name: str, key: Any) -> Any:
    related: Any = model._meta.get_field(name).related_model
    return related._default_manager.filter(pk=key).first()
