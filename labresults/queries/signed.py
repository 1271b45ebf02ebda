"""What a signature stands for: the exact values, by digest; and whose work they are. Each function says its queries."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from itertools import islice

from django.db.models import Case, Q, When

from labresults.chain import digest_rows
from labresults.models import (
    AuditEvent,
    DiscardedPortion,
    Evaluation,
    FireCharge,
    LetStand,
    MassLoss,
    Person,
    ReadingFile,
    Result,
    Selection,
    Weighing,
)
from labresults.queries.review_facts import Facts
from labresults.queries.review_overrides import overrides_of
from labresults.terms import Role


def values_digest(results: Iterable[Result]) -> str:
    """SHA-256 [hex] of the exact values of results, whatever their order: what a review says that it signed. No query.

    Of each its key, value, unit, basis, limits, uncertainties and marks; numbers to the last bit.
    """
    return digest_rows(_signed(row) for row in sorted(results, key=lambda row: row.pk))


def shown_digest(results: Collection[Result], whys: Mapping[int, Collection[str]]) -> str:
    """SHA-256 [hex] of what whoever approves was shown: exact values, and why any of them asks for a look. No query.

    whys: by the key of the result. A doubt that comes in between is another digest, whatever was accepted before it.
    """
    asking = [[row.pk, *sorted(set(whys[row.pk]))] for row in results if whys.get(row.pk)]
    return digest_rows([[values_digest(results)], *sorted(asking)])


def _signed(row: Result) -> tuple[object, ...]:
    return (
        row.pk, row.sample_id, row.element_id, row.value, row.unit, row.basis, row.reported_as, row.detection_limit,
        row.quantification_limit, row.reporting_limit, row.upper_limit, row.u, row.expanded_u, row.coverage_factor,
        row.why_no_value, *map(str, row.marks),
    )  # fmt: skip


def own_work(by: Person, rows: Collection[Result], facts: Facts) -> set[str]:
    """What somebody did for any of these results, in words; eleven queries. Judged for each result, not for each run.

    rows: with evaluation, run and portion loaded. Preparing, weighing, drying, firing, adding reagents; planning,
    loading and evaluating the run; choosing a result by name, accepting a control sample, letting a repeat stand,
    allowing what had expired or was overdue.
    """
    return {*_at_the_bench(by, rows), *_at_the_run(by, rows), *_by_name(by, rows, facts)}


def _at_the_bench(by: Person, rows: Collection[Result]) -> Iterator[str]:
    portions = {row.position.portion_id for row in rows if row.position.portion_id}
    batches = {row.position.portion.batch for row in rows if row.position.portion_id}
    yield from (f"batch {batch}" for batch in batches if batch.made_by_id == by.pk)
    # A blank, a reference material or a duplicate of the batch decides about its samples as their own masses do.
    of_these = Q(portion__in=portions) | Q(portion__batch__in=batches) & ~Q(portion__role=Role.SAMPLE)
    own_first = Case(When(portion__in=portions, then=0), default=1)
    weighed = Weighing.objects.filter(of_these, made_by=by).order_by(own_first, "pk").select_related("portion")[:3]
    yield from (f"weighing {row.portion}" for row in weighed)
    again = DiscardedPortion.objects.filter(replaced_by__in=portions, made_by=by).select_related("portion")[:3]
    yield from (f"discarding {row.portion}" for row in again)
    fired = FireCharge.objects.filter(portion__in=portions, made_by=by).select_related("portion")[:3]
    yield from (f"firing {row.portion}" for row in fired)
    dried = MassLoss.objects.filter(subsample__sample__in={row.sample_id for row in rows}, made_by=by)
    yield from (f"drying {row.subsample.sample}" for row in dried.select_related("subsample__sample")[:3])
    added = AuditEvent.objects.filter(
        person=by, act="add_reagents", subject_kind="batch", subject__in=[batch.number for batch in batches]
    )
    yield from (f"the reagents of batch {event.subject}" for event in added[:3])


def _at_the_run(by: Person, rows: Collection[Result]) -> Iterator[str]:
    runs = {row.evaluation.run for row in rows}
    yield from (f"planning {run}" for run in runs if run.made_by_id == by.pk)
    # An earlier evaluation too: what was left out of it was somebody's judgement of this run.
    evaluated = Evaluation.objects.filter(run__in=runs, made_by=by).select_related("run")
    yield from (f"evaluating {row.run}" for row in evaluated)
    yield from (f"loading {file.name}" for file in ReadingFile.objects.filter(run__in=runs, made_by=by))


def _by_name(by: Person, rows: Collection[Result], facts: Facts) -> Iterator[str]:
    """What somebody decided in place of a rule."""
    samples, signed = {row.sample_id for row in rows}, {row.pk for row in rows}
    chosen = Selection.objects.filter(sample__in=samples, made_by=by).exclude(reason="").select_related("sample")
    of_these = (row for row in chosen.order_by("pk") if row.result_id in signed)
    yield from (f"choosing {row.element_id} in {row.sample}" for row in islice(of_these, 3))
    stood = LetStand.objects.filter(position__in={row.position_id for row in rows}, made_by=by)
    yield from (f"letting {row.position.label} stand" for row in stood.select_related("position")[:3])
    allowed = overrides_of(rows).filter(made_by=by)[:3]
    yield from (f"allowing {override.lot or override.equipment}" for override in allowed)
    for row in rows:
        accepted = facts.failures[row.pk]["accepted"]
        yield from (f"accepting {one.position.label}" for one in accepted if one.acceptance.made_by_id == by.pk)
