"""Derived results, computed from the results that stand: none is stored, so that none can be out of date.

Each function says how many database queries it makes.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, OuterRef, Q, QuerySet

from labresults.calculation.derived import EDITION, Derived, derive
from labresults.calculation.derived_terms import Definition, terms_of
from labresults.models import (
    DerivedDefinition,
    MassLoss,
    Request,
    RequestedDerived,
    Result,
    Sample,
    SampleSet,
    SampleSetMember,
    Submission,
)
from labresults.queries.derived_inputs import OfSample, inputs_of_sample, inputs_of_set
from labresults.queries.mass_losses import moisture_of_samples
from labresults.terms import BelowInSum, DerivedForm, State

There = Mapping[int, OfSample]
"""By sample, element and method: the result that stands, or why there is none."""


@dataclass(frozen=True)
class DerivedOf:
    """A derived result of a sample, or of a set of samples, from what stands there.

    named: the set, with its submission where another thing of the same certificate has its name; "" for its own name.
    """

    row: DerivedDefinition
    definition: Definition
    derived: Derived
    sample: Sample | None = None
    sample_set: SampleSet | None = None
    members: tuple[SampleSetMember, ...] = ()
    named: str = ""

    @property
    def of(self) -> str:
        """The sample's number, or the name of the set: one thing of a certificate only."""
        return self.named or str(self.sample or self.sample_set)

    @property
    def mass_kg(self) -> float:
        """What a set stands for, kg."""
        return float(sum(member.mass_kg for member in self.members))


@dataclass(frozen=True)
class Asking:
    """What requests ask to be derived: definitions by submission, and the sets of each."""

    definitions: Mapping[int, Sequence[DerivedDefinition]]
    sets: Mapping[int, Sequence[SampleSet]]  # with `members`
    moistures: Mapping[int, float]  # by sample, % of the material as received


def as_definition(row: DerivedDefinition) -> Definition:
    """A version of a definition as the calculation takes it; no query."""
    return Definition(
        code=row.code,
        version=row.version,
        name=row.name,
        reported_as=row.reported_as,
        unit=row.unit,
        form=DerivedForm(row.form),
        terms=terms_of(row.terms),
        below=BelowInSum(row.below),
        all_needed=row.all_needed,
        source=row.source,
        remark=row.remark,
    )


def newest_definitions() -> QuerySet[DerivedDefinition]:
    """The newest version of each definition, by code; one query."""
    newer = DerivedDefinition.objects.filter(code=OuterRef("code"), version__gt=OuterRef("version"))
    return DerivedDefinition.objects.filter(~Exists(newer)).order_by("code")


def choosable(besides: Collection[DerivedDefinition] = ()) -> QuerySet[DerivedDefinition]:
    """The newest version of each definition, and these; one query."""
    newest = newest_definitions().values("pk")
    rows = DerivedDefinition.objects.filter(Q(pk__in=newest) | Q(pk__in=[row.pk for row in besides]))
    return rows.order_by("code", "-version")


def versions_of(code: str) -> list[DerivedDefinition]:
    """Every version of a definition, the newest first; one query. Raises DoesNotExist where there is none."""
    rows = list(DerivedDefinition.objects.filter(code=code).select_related("made_by").order_by("-version"))
    if not rows:
        raise DerivedDefinition.DoesNotExist(f"There is no derived result {code}.")
    return rows


def asked_of(requests: Iterable[Request]) -> dict[int, list[DerivedDefinition]]:
    """Definitions that requests ask for, by the key of their submission; one query."""
    found: dict[int, list[DerivedDefinition]] = {}
    rows = RequestedDerived.objects.filter(request__in=[request.pk for request in requests])
    for row in rows.select_related("definition", "request").order_by("definition__code"):
        found.setdefault(row.request.submission_id, []).append(row.definition)
    return found


def asking_of(
    requests: Sequence[Request], samples: Collection[int], as_of: datetime | None = None, *, sets_too: bool = True
) -> Asking:
    """What is asked to be derived, with what it needs besides results; one query, and up to four more.

    as_of: sets and moistures as they stood at that moment. sets_too: no leaves the sets out, and saves two queries.
    """
    definitions = asked_of(requests)
    forms = {row.form for rows in definitions.values() for row in rows}
    sets = sets_of(definitions, as_of) if sets_too and DerivedForm.WEIGHTED_MEAN in forms else {}
    return Asking(definitions, sets, moistures_of(samples, as_of) if DerivedForm.DRY in forms else {})


def sets_of(submissions: Collection[int], as_of: datetime | None = None) -> dict[int, list[SampleSet]]:
    """Sets of submissions by their keys: of each name the newest, that has members; two queries.

    Each has its `members` with their samples, those that were struck left out.
    """
    rows = SampleSet.objects.filter(submission__in=submissions).select_related("made_by", "submission").order_by("pk")
    if as_of is not None:
        rows = rows.filter(made_at__lte=as_of)
    newest = {(row.submission_id, row.name): row for row in rows}
    members: dict[int, list[SampleSetMember]] = {}
    standing = SampleSetMember.objects.filter(sample_set__in=newest.values(), sample__struck_at=None)
    for member in standing.select_related("sample").order_by("sample__ordinal"):
        members.setdefault(member.sample_set_id, []).append(member)
    found: dict[int, list[SampleSet]] = {}
    for row in sorted(newest.values(), key=lambda row: row.name):
        if row.pk in members:
            row.standing = members[row.pk]
            found.setdefault(row.submission_id, []).append(row)
    return found


def moistures_of(samples: Collection[int], as_of: datetime | None = None) -> dict[int, float]:
    """The newest moisture of each sample as received, %; one query, two with `as_of`."""
    return {sample: row.loss_percent for sample, row in moisture_rows_of(samples, as_of).items()}


def moisture_rows_of(samples: Collection[int], as_of: datetime | None = None) -> dict[int, MassLoss]:
    """The newest drying of each sample as received, that moment or now; one query, two with `as_of`."""
    last = None
    if as_of is not None:
        newest = MassLoss.objects.filter(made_at__lte=as_of).order_by("-pk").values_list("pk", flat=True).first()
        last = newest or 0
    found = moisture_of_samples(samples, last)
    return {sample: row for (sample, state), row in found.items() if state == State.AS_RECEIVED}


def there_of(rows: Iterable[tuple[int, str, str, Result | str]]) -> There:
    """Results, or why there is none, by sample, element and method code; no query."""
    found: dict[int, dict[str, dict[str, Result | str]]] = {}
    for sample, method, element, what in rows:
        found.setdefault(sample, {}).setdefault(element, {})[method] = what
    return found


def derive_all(asking: Asking, samples: Sequence[Sample], there: There, edition: int = EDITION) -> list[DerivedOf]:
    """Every derived result that is asked for, sample by sample and then set by set; no query.

    A sample of which none of its elements is asked has none. edition: of the derivation, an older one for what was
    printed by it.
    """
    ready = {row.pk: as_definition(row) for rows in asking.definitions.values() for row in rows}
    found = [
        DerivedOf(row, ready[row.pk], derive(ready[row.pk], inputs, edition), sample=sample)
        for sample in samples
        for row in asking.definitions.get(sample.submission_id, ())
        if not ready[row.pk].of_set
        and (inputs := inputs_of_sample(ready[row.pk], there.get(sample.pk, {}), asking.moistures))
    ]
    of_sets = [
        (row, one)
        for submission, rows in asking.definitions.items()
        for row in rows
        if ready[row.pk].of_set
        for one in asking.sets.get(submission, ())
    ]
    named = _apart([one for _, one in of_sets], samples) if edition > 1 else {}
    for row, one in of_sets:
        members = tuple(one.standing)
        derived = derive(ready[row.pk], inputs_of_set(ready[row.pk], members, there), edition)
        found.append(
            DerivedOf(row, ready[row.pk], derived, sample_set=one, members=members, named=named.get(one.pk, ""))
        )
    return found


def _apart(sets: Iterable[SampleSet], samples: Sequence[Sample]) -> dict[int, str]:
    """Sets by their keys whose name another set or a sample has too, named with their submission."""
    each = {row.pk: row for row in sets}
    names = Counter([*(row.name for row in each.values()), *(sample.number for sample in samples)])
    return {key: f"{row.submission.number}: {row.name}" for key, row in each.items() if names[row.name] > 1}


def derived_beside(
    submission: Submission, samples: Sequence[Sample], results: Mapping[tuple[int, str, str], Result]
) -> list[DerivedOf]:
    """Derived results of samples of one submission, of what stands there; two queries, or three.

    results: by sample, method code and element, with all that a derived result asks of them. One of which a term has no
    result yet is left out.
    """
    request = submission.requests.order_by("-version").first()
    asking = asking_of([request] if request else [], [sample.pk for sample in samples], sets_too=False)
    there = there_of((*place, row) for place, row in results.items())
    found = derive_all(asking, samples, there)
    return [one for one in found if not one.derived.why or _has_all(one)]


def _has_all(one: DerivedOf) -> bool:
    return len({each.given.term for each in one.derived.entered}) == len(one.definition.terms)


def without_sets(asking: Asking) -> list[str]:
    """Means that are asked for where no set of samples is defined, in words; no query."""
    return [
        f"{row.reported_as} is asked for, and no set of samples is defined"
        for submission, rows in asking.definitions.items()
        for row in rows
        if row.form == DerivedForm.WEIGHTED_MEAN and not asking.sets.get(submission)
    ]
