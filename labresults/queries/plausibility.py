"""What does not fit together in some samples, by the rules that stand. Each function says its database queries."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import F, Max, QuerySet

from labresults.calculation import plausibility as fits
from labresults.calculation.plausibility import Finding, Rule, Seen
from labresults.models import MassLoss, PlausibilityRule, Result, Sample, Selection
from labresults.queries.earlier import Earlier, earlier_values
from labresults.queries.results import newest_selections
from labresults.terms import Basis, Mark, MassLossKind, PlausibilityKind, Role, State

Key = tuple[int, int, str]
"""Sample, method, element."""

BOTTLE_WORDS = frozenset({"total", "dissolved", "filtered", "unfiltered"})
"""Words that two bottles of one place and time are told apart by in the client's own identifications."""


@dataclass(frozen=True)
class Bottles:
    """What two bottles of one place and time hold: one filtered in the field, one not. matrix: of the filtered one."""

    matrix: int
    dissolved: list[Seen]
    total: list[Seen]


@dataclass(frozen=True)
class Known:
    """What is known of the samples that rules look at."""

    samples: Mapping[int, Sample]
    values: Mapping[int, list[tuple[Seen, Result]]]  # by sample, in the order of the selections
    bottles: list[Bottles]  # two by two, where either is one of the samples
    duplicates: Mapping[int, Seen]  # by the key of the result
    ignition: Mapping[tuple[int, str], float]  # loss on ignition by sample and state, %
    earlier: Earlier


def standing_rules() -> list[PlausibilityRule]:
    """The rules that stand, by name; one query."""
    newest = PlausibilityRule.objects.order_by().values("name").annotate(newest=Max("pk")).values("newest")
    rows = PlausibilityRule.objects.filter(pk__in=newest, is_active=True).select_related("matrix", "made_by")
    return list(rows.order_by("name"))


def every_rule() -> list[PlausibilityRule]:
    """Every version of every rule, the newest of each name first, with `stands`; one query."""
    rows = list(PlausibilityRule.objects.select_related("matrix", "made_by").order_by("name", "-pk"))
    seen: set[str] = set()
    for row in rows:
        row.stands = row.name not in seen and row.is_active  # type: ignore[attr-defined]
        seen.add(row.name)
    return rows


def findings_of(samples: Collection[Sample], selections: Mapping[Key, Selection]) -> dict[int, list[Finding]]:
    """What does not fit, by the key of each result that it asks of; one query without rules, else at most nine.

    samples: with their submission; selections: those of the samples. What is over range, or has no value, is compared
    with nothing.
    """
    rules = standing_rules()
    if not rules or not selections:
        return {}
    known = _known(samples, selections, {PlausibilityKind(rule.kind) for rule in rules})
    found: dict[int, list[Finding]] = {}
    for row in rules:
        rule = Rule(row.name, PlausibilityKind(row.kind), tuple(row.elements), row.low, row.high, row.source)
        for finding in _of_rule(rule, row.matrix_id, known):
            for key in finding.keys:
                found.setdefault(key, []).append(finding)
    return found


def as_seen(result: Result) -> Seen | None:
    """A result as rules see it; None where there is no value to compare; no query where its method is loaded."""
    if result.value is None or result.detection_limit is None or Mark.OVER_RANGE in result.marks:
        return None
    return Seen(
        key=result.pk,
        element=result.element_id,
        method=result.evaluation.run.method_version.method.code,
        reported_as=result.reported_as,
        unit=result.unit,
        value=result.value,
        expanded_u=result.expanded_u or 0.0,
        detection_limit=result.detection_limit,
        is_below=Mark.BELOW_DETECTION in result.marks,
        basis=result.basis,
    )


def _known(rows: Collection[Sample], selections: Mapping[Key, Selection], kinds: Collection[PlausibilityKind]) -> Known:
    samples = {row.pk: row for row in rows}
    values: dict[int, list[tuple[Seen, Result]]] = {}
    # In one order: whoever signs is compared with what was shown, word by word.
    for (sample, _, _), selection in sorted(selections.items(), key=lambda row: row[1].pk):
        seen = as_seen(selection.result)
        if seen is not None and sample in samples:
            values.setdefault(sample, []).append((seen, selection.result))
    of_results = [result for held in values.values() for _, result in held]
    has_oxides = any(seen.reported_as != seen.element for held in values.values() for seen, _ in held)
    return Known(
        samples=samples,
        values=values,
        bottles=_bottles(samples, values) if PlausibilityKind.DISSOLVED_AND_TOTAL in kinds else [],
        duplicates=_duplicates(of_results) if PlausibilityKind.DUPLICATES in kinds else {},
        ignition=_ignition(samples) if has_oxides and PlausibilityKind.OXIDE_TOTAL in kinds else {},
        earlier=earlier_values(samples.values()) if PlausibilityKind.BESIDE_EARLIER in kinds else {},
    )


STATE_OF_BASIS = {Basis.AS_RECEIVED: State.AS_RECEIVED, Basis.DRY: State.DRIED_105}
"""In which state a loss on ignition is on the basis of the oxides beside it."""


def _of_rule(rule: Rule, matrix: int | None, known: Known) -> Iterator[Finding]:
    if rule.kind is PlausibilityKind.DISSOLVED_AND_TOTAL:
        yield from _of_bottles(rule, matrix, known.bottles)
        return
    for pk, sample in known.samples.items():
        if matrix in (None, sample.matrix_id):
            yield from (finding for finding in _of_sample(rule, pk, known) if finding is not None)


def _of_sample(rule: Rule, pk: int, known: Known) -> Iterator[Finding | None]:
    """What one rule says of one sample."""
    values = [seen for seen, _ in known.values.get(pk, [])]
    named = [seen for seen in values if not rule.elements or seen.element in rule.elements]
    if rule.kind is PlausibilityKind.OXIDE_TOTAL:
        for group in fits.comparable([seen for seen in values if seen.reported_as != seen.element]):
            lost = known.ignition.get((pk, STATE_OF_BASIS.get(group[0].basis, "")))
            yield fits.oxide_total(group, lost, rule)
    elif rule.kind is PlausibilityKind.RATIO:
        yield from (fits.ratio_outside(group, rule) for group in fits.comparable(named))
    elif rule.kind is PlausibilityKind.SAME_BY_TWO:
        yield from (fits.by_two_methods(one, other, rule) for one, other in _pairs(named))
    elif rule.kind is PlausibilityKind.DUPLICATES:
        doubled = ((seen, known.duplicates.get(seen.key)) for seen in named)
        yield from (fits.duplicates_differ(seen, other, rule) for seen, other in doubled if other)
    else:
        sample = known.samples[pk]
        for seen in named:
            key = (sample.matrix_id, seen.method, seen.element, seen.reported_as, seen.unit, seen.basis)
            yield fits.beside_earlier(seen, [past.value for past in known.earlier.get(key, ())], rule)


def _of_bottles(rule: Rule, matrix: int | None, bottles: Iterable[Bottles]) -> Iterator[Finding]:
    """What is dissolved above the total: both bottles ask, whichever of them is looked at."""
    for pair in bottles:
        if matrix in (None, pair.matrix):
            named = [seen for seen in pair.dissolved if not rule.elements or seen.element in rule.elements]
            both = ((seen, total) for seen in named for total in _totals_of(seen, pair.total))
            found = (fits.dissolved_above_total(seen, total, rule) for seen, total in both)
            yield from (finding for finding in found if finding is not None)


def _totals_of(dissolved: Seen, totals: Iterable[Seen]) -> list[Seen]:
    """The totals of the same element: by the same method where there is one, else by every other."""
    found = [total for total in totals if total.element == dissolved.element]
    return [total for total in found if total.method == dissolved.method] or found


def _pairs(values: list[Seen]) -> Iterator[tuple[Seen, Seen]]:
    """Each element's results by different methods, two by two."""
    by_element: dict[str, list[Seen]] = {}
    for seen in values:
        by_element.setdefault(seen.element, []).append(seen)
    for group in by_element.values():
        yield from ((one, other) for place, one in enumerate(group) for other in group[place + 1 :])


def _bottles(samples: Mapping[int, Sample], values: Mapping[int, list[tuple[Seen, Result]]]) -> list[Bottles]:
    """Bottles filtered in the field with the unfiltered ones of the same place and time, where either is asked of.

    Two bottles belong together in one submission, sampled at one time, when their identifications differ by words for
    dissolved and total only; at most five queries, none where nothing was filtered or left so in the field.
    """
    asking = [row for row in samples.values() if row.field_filtered is not None and row.sampled_at]
    if not asking:
        return []
    beside = Sample.objects.filter(
        submission__in={row.submission_id for row in asking},
        sampled_at__in={row.sampled_at for row in asking},
        field_filtered__isnull=False,
        struck_at=None,
    )
    asked = {_place(row) for row in asking}
    known = [row for row in beside.order_by("ordinal") if _place(row) in asked]
    held = _held_by(known, samples, values)
    totals: dict[tuple[int, object, str], list[Seen]] = {}
    for row in known:
        if not row.field_filtered:
            totals.setdefault(_place(row), []).extend(held[row.pk])
    filtered = ((row, totals.get(_place(row), [])) for row in known if row.field_filtered)
    return [Bottles(row.matrix_id, held[row.pk], total) for row, total in filtered if total]


def _held_by(
    bottles: Sequence[Sample], samples: Collection[int], values: Mapping[int, list[tuple[Seen, Result]]]
) -> dict[int, list[Seen]]:
    """What stands of each bottle, by its key; four queries, none where all of them are among the samples."""
    held = {row.pk: [seen for seen, _ in values.get(row.pk, [])] for row in bottles}
    elsewhere = [pk for pk in held if pk not in samples]
    for (sample, _, _), selection in (newest_selections(sample_ids=elsewhere) if elsewhere else {}).items():
        seen = as_seen(selection.result)
        if seen is not None:
            held[sample].append(seen)
    return held


def _place(row: Sample) -> tuple[int, object, str]:
    """What two bottles of one place and time have in common."""
    words = row.client_identification.lower().replace(",", " ").replace("(", " ").replace(")", " ").split()
    return row.submission_id, row.sampled_at, " ".join(word for word in words if word not in BOTTLE_WORDS)


def _duplicates(results: Iterable[Result]) -> dict[int, Seen]:
    """What the laboratory duplicate of each result gave, by the key of the result; one query."""
    places = {(row.evaluation_id, row.position_id, row.line_id): row.pk for row in results}
    rows: QuerySet[Result] = Result.objects.filter(
        evaluation__in={evaluation for evaluation, _, _ in places}, position__role=Role.DUPLICATE, is_candidate=False
    )
    rows = rows.annotate(of=F("position__parent")).select_related("evaluation__run__method_version__method")
    found: dict[int, Seen] = {}
    for row in rows.exclude(of=None):
        key = places.get((row.evaluation_id, row.of, row.line_id))  # type: ignore[attr-defined]
        seen = as_seen(row)
        if key is not None and seen is not None:
            found[key] = seen
    return found


def _ignition(sample_ids: Collection[int]) -> dict[tuple[int, str], float]:
    """Loss on ignition of each sample in each state, %, the newest; one query. Water counts where it was not dried."""
    rows = MassLoss.objects.filter(subsample__sample__in=sample_ids, kind=MassLossKind.IGNITION).order_by("pk")
    said = rows.values_list("subsample__sample", "state", "loss_percent")
    return {(sample, state): lost for sample, state, lost in said}
