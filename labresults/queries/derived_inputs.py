"""From results that stand at the terms of a derived result to what the calculation takes; no query anywhere."""

from collections.abc import Iterator, Mapping, Sequence

from labresults.calculation.derived import EDITION, Derived, derive
from labresults.calculation.derived_formula import Input
from labresults.calculation.derived_terms import Definition, Term
from labresults.models import Result, SampleSetMember
from labresults.terms import Basis, Mark

OfSample = Mapping[str, Mapping[str, Result | str]]
"""By element and method: the result that stands, or why there is none."""

AMBIGUOUS = "was measured by {}: the definition must say by which"


def derive_from(
    definition: Definition,
    results: Sequence[Result],
    masses: Mapping[int, float],
    moistures: Mapping[int, float],
    edition: int = EDITION,
) -> Derived:
    """A derived result from results that are known to be its inputs: of a printed one.

    masses: kg by sample, of a set. Results with their evaluation's run, method version and method. Of each sample a
    term takes the first of its methods that is among them, as it did when it was printed.
    """
    by_sample: dict[int, dict[str, dict[str, list[Result]]]] = {}
    for result in sorted(results, key=lambda row: row.pk):
        method = result.evaluation.run.method_version.method.code
        elements = by_sample.setdefault(result.sample_id or 0, {})
        elements.setdefault(result.element_id, {}).setdefault(method, []).append(result)
    inputs = []
    for place, term in enumerate(definition.terms):
        for of_sample in by_sample.values():
            for method, result in _at_a_term(term, of_sample.get(term.element, {})):
                label = str(result.sample) if definition.of_set else _label(term, method)
                inputs.append(_input(place, label, result, masses, moistures))
    return derive(definition, inputs, edition)


def _at_a_term(term: Term, by_method: Mapping[str, Sequence[Result]]) -> Iterator[tuple[str, Result]]:
    methods = [code for code in term.by if code in by_method][:1] if term.by else by_method
    return ((method, result) for method in methods for result in by_method[method])


def inputs_of_sample(definition: Definition, standing: OfSample, moistures: Mapping[int, float]) -> list[Input]:
    """What stands at each term of a sample; terms of which nothing was asked are left out."""
    found = [
        _at_term(place, term, standing.get(term.element, {}), moistures) for place, term in enumerate(definition.terms)
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


def inputs_of_set(
    definition: Definition, members: Sequence[SampleSetMember], there: Mapping[int, OfSample]
) -> list[Input]:
    """What stands at the one term of a mean, for each member of the set."""
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
        portion=str(result.position.portion_id or ""),
        mass_kg=masses.get(sample),
        moisture_percent=moistures.get(sample),
    )
