"""Derived results, computed from the results that stand: none is stored, so that none can be out of date.

Each function says how many database queries it makes.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, OuterRef, Q, QuerySet

from labresults.calculation.derived import Derived, derive
from labresults.calculation.derived_formula import Input
from labresults.calculation.derived_terms import Definition, Term, terms_of
from labresults.models import (
    DerivedDefinition,
    MassLoss,
    Request,
    RequestedDerived,
    Result,
    Sample,
    SampleSet,
    SampleSetMember,
)
from labresults.queries.mass_losses import moisture_of_samples
from labresults.terms import Basis, BelowInSum, DerivedForm, Mark, State

There = Mapping[int, Mapping[str, Mapping[str, Result | str]]]
"""By sample, element and method: the result that stands, or why there is none."""

AMBIGUOUS = "was measured by {}: the definition must say by which"


@dataclass(frozen=True)
class DerivedOf:
    """A derived result of a sample, or of a set of samples, from what stands there."""

    row: DerivedDefinition
    definition: Definition
    derived: Derived
    sample: Sample | None = None
    sample_set: SampleSet | None = None
    members: tuple[SampleSetMember, ...] = ()

    @property
    def of(self) -> str:
        """The sample's number, or the name of the set."""
        return str(self.sample or self.sample_set)

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
    rows = SampleSet.objects.filter(submission__in=submissions).select_related("made_by").order_by("pk")
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
    last = None
    if as_of is not None:
        newest = MassLoss.objects.filter(made_at__lte=as_of).order_by("-pk").values_list("pk", flat=True).first()
        last = newest or 0
    found = moisture_of_samples(samples, last)
    return {sample: row.loss_percent for (sample, state), row in found.items() if state == State.AS_RECEIVED}


def there_of(rows: Iterable[tuple[int, str, str, Result | str]]) -> There:
    """Results, or why there is none, by sample, element and method code; no query."""
    found: dict[int, dict[str, dict[str, Result | str]]] = {}
    for sample, method, element, what in rows:
        found.setdefault(sample, {}).setdefault(element, {})[method] = what
    return found


def derive_all(asking: Asking, samples: Sequence[Sample], there: There) -> list[DerivedOf]:
    """Every derived result that is asked for, sample by sample and then set by set; no query.

    A sample of which none of its elements is asked has none.
    """
    ready = {row.pk: as_definition(row) for rows in asking.definitions.values() for row in rows}
    found = [
        DerivedOf(row, ready[row.pk], derive(ready[row.pk], inputs), sample=sample)
        for sample in samples
        for row in asking.definitions.get(sample.submission_id, ())
        if not ready[row.pk].of_set and (inputs := _inputs_of_sample(ready[row.pk], sample.pk, there, asking))
    ]
    for submission, rows in asking.definitions.items():
        for row in (row for row in rows if ready[row.pk].of_set):
            for one in asking.sets.get(submission, ()):
                members = tuple(one.standing)
                inputs = _inputs_of_set(ready[row.pk], members, there)
                derived = derive(ready[row.pk], inputs)
                found.append(DerivedOf(row, ready[row.pk], derived, sample_set=one, members=members))
    return found


def without_sets(asking: Asking) -> list[str]:
    """Means that are asked for where no set of samples is defined, in words; no query."""
    return [
        f"{row.reported_as} is asked for, and no set of samples is defined"
        for submission, rows in asking.definitions.items()
        for row in rows
        if row.form == DerivedForm.WEIGHTED_MEAN and not asking.sets.get(submission)
    ]


def derive_from(
    definition: Definition, results: Sequence[Result], masses: Mapping[int, float], moistures: Mapping[int, float]
) -> Derived:
    """The same from results that are known to be its inputs: of a printed one; no query.

    masses: kg by sample, of a set. Results with their evaluation's run, method version and method.
    """
    inputs = []
    for place, term in enumerate(definition.terms):
        for result in sorted(results, key=lambda row: row.pk):
            method = result.evaluation.run.method_version.method.code
            if result.element_id == term.element and (not term.by or method in term.by):
                label = str(result.sample) if definition.of_set else _label(term, method)
                inputs.append(_input(place, label, result, masses, moistures))
    return derive(definition, inputs)


def _inputs_of_sample(definition: Definition, sample: int, there: There, asking: Asking) -> list[Input]:
    found = [
        _at_term(place, term, there.get(sample, {}).get(term.element, {}), asking.moistures)
        for place, term in enumerate(definition.terms)
    ]
    return [each for each in found if each is not None]


def _at_term(
    place: int, term: Term, by_method: Mapping[str, Result | str], moistures: Mapping[int, float]
) -> Input | None:
    """What stands at a term of a sample; None where nothing was asked."""
    method = _chosen(term, by_method)
    if method is None:
        return None
    what = by_method.get(method, AMBIGUOUS.format(" and by ".join(sorted(by_method))))
    label = _label(term, method) if method else term.element
    return _none(place, label, what) if isinstance(what, str) else _input(place, label, what, {}, moistures)


def _inputs_of_set(definition: Definition, members: Sequence[SampleSetMember], there: There) -> list[Input]:
    term, found = definition.terms[0], []
    masses = {member.sample_id: member.mass_kg for member in members}
    for member in members:
        by_method = there.get(member.sample_id, {}).get(term.element, {})
        method = _chosen(term, by_method)
        if method is None:
            what: Result | str = f"{term.element} was not asked for"
        else:
            what = by_method.get(method, AMBIGUOUS.format(" and by ".join(sorted(by_method))))
        label = str(member.sample)
        found.append(_none(0, label, what) if isinstance(what, str) else _input(0, label, what, masses, {}))
    return found


def _chosen(term: Term, by_method: Mapping[str, Result | str]) -> str | None:
    """The method whose result stands at a term: the preferred one, or the only one; "" where several might."""
    codes = [code for code in term.by if code in by_method] if term.by else sorted(by_method)
    if not codes:
        return None
    return codes[0] if term.by or len(codes) == 1 else ""


def _label(term: Term, method: str) -> str:
    return f"{term.element} by {method}"


def _none(place: int, label: str, why: str) -> Input:
    return Input(place, None, label, "", "", Basis.AS_RECEIVED, None, why=why)


def _input(
    place: int, label: str, result: Result, masses: Mapping[int, float], moistures: Mapping[int, float]
) -> Input:
    sample = result.sample_id or 0
    return Input(
        term=place,
        key=result.pk,
        label=label,
        reported_as=result.reported_as,
        unit=result.unit,
        basis=Basis(result.basis),
        value=result.value,
        detection_limit=result.detection_limit or 0.0,
        quantification_limit=result.quantification_limit or 0.0,
        upper_limit=result.upper_limit,
        u=result.u,
        coverage_factor=result.coverage_factor,
        over_range=Mark.OVER_RANGE in result.marks,
        why=result.why_no_value,
        calibration=f"{result.evaluation_id}/{result.position.block}/{result.line_id}",
        mass_kg=masses.get(sample),
        moisture_percent=moistures.get(sample),
    )
