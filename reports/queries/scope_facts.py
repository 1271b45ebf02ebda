"""Which results lie within the scope of accreditation, and what a certificate says of it."""

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from labresults.queries.reportable import Reportable
from labresults.queries.scope import is_within, standing_scope

if TYPE_CHECKING:
    from labresults.models import Result, Scope

Key = tuple[int, int, str]  # sample, method, element


def within_scope(found: Reportable, zone: ZoneInfo) -> dict[Key, bool]:
    """Whether each result is within the scope on the day of its measurement; empty without any scope. No query."""
    if not found.scope:
        return {}
    matrices = {sample.pk: sample.matrix_id for sample in found.samples}
    days = {run: _measured_on(result, zone) for run, result in _by_run(found).items()}
    rows: dict[tuple[int, str, int], list[Scope]] = {}
    for row in found.scope:
        rows.setdefault((row.method_id, row.element_id, row.matrix_id), []).append(row)
    return {
        (sample, method, element): is_within(
            result,
            standing_scope(rows.get((method, element, matrices[sample]), ()), days[result.evaluation.run_id]),
        )
        for (sample, method, element), result in found.results.items()
    }


def marks_outside(within: Mapping[Key, bool]) -> frozenset[Key]:
    """Results that are marked: outside, on a certificate that has others within. Without any, no mark and no symbol."""
    return frozenset(key for key, inside in within.items() if not inside) if any(within.values()) else frozenset()


def accreditation(within: Mapping[Key, bool]) -> str:
    """The sentence for the head of a certificate: only where a result is within the scope."""
    if not any(within.values()):
        return ""
    if all(within.values()):
        return "Every result is within the laboratory’s scope of accreditation."
    return "Results within the laboratory’s scope of accreditation are those without the remark that they are outside."


def of_method(method: int, within: Mapping[Key, bool], found: Reportable) -> str:
    """What is said beside a method; nothing where it has no scope at all."""
    own = {key: inside for key, inside in within.items() if key[1] == method}
    if not own or not any(row.method_id == method for row in found.scope):
        return ""
    if all(own.values()):
        return "Within the scope of accreditation."
    if not any(own.values()):
        return "Outside the scope of accreditation."
    outside = dict.fromkeys(key[2] for key in sorted(own) if not own[key])
    return f"Outside the scope of accreditation, for some or all samples: {', '.join(sorted(outside))}."


def _by_run(found: Reportable) -> dict[int, "Result"]:
    return {result.evaluation.run_id: result for result in found.results.values()}


def _measured_on(result: "Result", zone: ZoneInfo) -> date:
    """The day on which its run ended, else that of its evaluation."""
    ends = [file.measured_to for file in result.evaluation.run.files.all()]
    return max(ends, default=result.evaluation.made_at).astimezone(zone).date()
