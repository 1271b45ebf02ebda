"""Derived results as pages show them: definitions in words, and what stands for samples and sets, with the steps.

Each function says how many database queries it makes.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from labresults.calculation.derived import Derived
from labresults.calculation.derived_terms import (
    OF_TWO_PARTS,
    Definition,
    below_in_words,
    factor_in_words,
    formula_in_words,
)
from labresults.calculation.explain_derived import DerivedStep, explain_derived
from labresults.models import (
    DerivedDefinition,
    Determination,
    NotMeasuredResult,
    Request,
    Result,
    Sample,
    SampleSet,
    Submission,
)
from labresults.queries.asked import pairs_of
from labresults.queries.derived import (
    DerivedOf,
    There,
    as_definition,
    asking_of,
    derive_all,
    newest_definitions,
    sets_of,
    there_of,
    versions_of,
)
from labresults.queries.results import newest_selections, turned_down_among
from labresults.terms import Decision

NO_RESULT = "no result yet"

TURNED_DOWN = {decision: f"{decision} at review" for decision in (Decision.REFUSE, Decision.SEND_BACK)}
"""Why a result that a reviewer turned down gives nothing to what is computed."""


@dataclass(frozen=True)
class Shown:
    """A version of a definition in words."""

    row: DerivedDefinition
    definition: Definition

    @property
    def formula(self) -> str:
        """The formula in words."""
        return formula_in_words(self.definition)

    @property
    def below(self) -> str:
        """What a term below its detection limit counts as."""
        return below_in_words(self.definition)

    @property
    def factors(self) -> list[str]:
        """The factors of its terms, with every figure."""
        return [factor_in_words(term.factor) for term in self.definition.terms]

    @property
    def has_parts(self) -> bool:
        """Whether its terms stand in two parts."""
        return self.definition.form in OF_TWO_PARTS


@dataclass(frozen=True)
class Known:
    """A derived result as a page shows it: a value, a range, a bound, or why there is none; numbers unrounded."""

    of: DerivedOf

    @property
    def found(self) -> Derived:
        """What is known of it."""
        return self.of.derived

    @property
    def shown(self) -> Shown:
        """Its definition in words."""
        return Shown(self.of.row, self.of.definition)

    @property
    def steps(self) -> tuple[DerivedStep, ...]:
        """The calculation, step by step."""
        return explain_derived(self.of.definition, self.found)

    @property
    def instead(self) -> str:
        """What stands in place of a value: which inputs were refused or sent back, else that there is none."""
        if not self.found.why:
            return ""
        said = []
        for decision, why in TURNED_DOWN.items():
            inputs = [each.given for each in self.found.entered if each.given.why == why]
            terms = self.of.definition.terms
            names = [each.label if self.of.definition.of_set else terms[each.term].element for each in inputs]
            said += [f"{' and '.join(dict.fromkeys(names))} {decision}"] if names else []
        return "; ".join(said) or "no value"

    @property
    def is_below(self) -> bool:
        """Whether there is a number, and it lies below the limit of the whole."""
        value = self.found.value
        return not self.found.sign and value is not None and value < self.found.detection_limit


@dataclass(frozen=True)
class DerivedColumns:
    """A matrix with what is computed of its samples beside it."""

    definitions: Sequence[DerivedDefinition]
    rows: list[tuple[Sample, Any, list[Known | None]]]  # sample, the cells of the matrix, and what is computed


@dataclass(frozen=True)
class SetsPage:
    """The sets of a submission with the means that are asked for over each."""

    submission: Submission
    sets: Sequence[SampleSet]
    means: dict[int, list[Known]]  # by set
    samples: Sequence[Sample]
    asked: Sequence[DerivedDefinition]  # means that are asked for

    @property
    def shown(self) -> list[tuple[SampleSet, float, list[Known]]]:
        """Each set with its mass, kg, and its means."""
        return [(row, sum(m.mass_kg for m in row.standing), self.means.get(row.pk, [])) for row in self.sets]


def definitions() -> list[Shown]:
    """The newest version of each definition; one query."""
    return [Shown(row, as_definition(row)) for row in newest_definitions().select_related("made_by")]


def definition_versions(code: str) -> list[Shown]:
    """Every version of a definition, the newest first; one query. Raises DoesNotExist."""
    return [Shown(row, as_definition(row)) for row in versions_of(code)]


def columns_beside(
    request: Request | None, columns: Sequence[Any], rows: Sequence[tuple[Sample, Any]]
) -> DerivedColumns:
    """Derived results for a matrix whose cells are there already; one query, or two.

    columns: each with `method` and `element`; rows: samples with their cells, each with `result` or `word`, and with
    the `decision` about its result.
    """
    samples = [sample for sample, _ in rows]
    asking = asking_of([request] if request else [], [sample.pk for sample in samples], sets_too=False)
    there = there_of(
        (sample.pk, column.method, column.element, TURNED_DOWN.get(cell.decision) or cell.result or cell.word)
        for sample, cells in rows
        for column, cell in zip(columns, cells, strict=True)
        if cell.result or cell.word
    )
    found = [one for one in derive_all(asking, samples, there) if one.sample]
    of_samples = list({one.row.pk: one.row for one in found}.values())
    known = {(one.sample.pk, one.row.pk): Known(one) for one in found if one.sample}
    return DerivedColumns(of_samples, [(s, cells, [known.get((s.pk, d.pk)) for d in of_samples]) for s, cells in rows])


def derived_of_sample(item: Sample, request: Request, candidates: Iterable[Any], words: Iterable[Any]) -> list[Known]:
    """Derived results of a sample from its candidates that stand, and its results in words; one to three queries.

    candidates: each with `stands`, `state` and `result`, with its evaluation's run, method version and method, and
    position.
    """
    asking = asking_of([request], [item.pk], sets_too=False)
    found: dict[tuple[str, str], Result | str] = {
        (code, term.element): NO_RESULT
        for rows in asking.definitions.values()
        for row in rows
        for term in as_definition(row).terms
        for code in term.by or [""]
    }
    given = _in_words(words, found)
    given |= {
        (one.result.evaluation.run.method_version.method.code, one.result.element_id): (
            TURNED_DOWN.get(one.state) or one.result
        )
        for one in candidates
        if one.stands
    }
    known = {element for _, element in given}
    found = {key: what for key, what in found.items() if key[1] not in known} | given
    there = there_of((item.pk, code, element, what) for (code, element), what in found.items())
    return [Known(one) for one in derive_all(asking, [item], there) if one.sample]


def _in_words(words: Iterable[Any], asked: Iterable[tuple[str, str]]) -> dict[tuple[str, str], str]:
    """Results in words by method code and element; one of a whole method speaks of each of its elements that is asked.

    asked: method code, "" for any, and element. One query, none where no word is of a whole method.
    """
    rows, wanted = list(words), {element for _, element in asked}
    whole = {row.method_id for row in rows if not row.element_id} if wanted else set()
    measures = Determination.objects.filter(method_version__method__in=whole, element__in=wanted)
    pairs = measures.values_list("method_version__method", "element").distinct() if whole else ()
    elements: dict[int, list[str]] = {}
    for method, element in pairs:
        elements.setdefault(method, []).append(element)
    return {
        (row.method.code, element): row.word
        for row in rows
        for element in ([row.element_id] if row.element_id else elements.get(row.method_id, []))
    }


def derived_standing(submission: Submission, only: Sample | None = None) -> list[Known]:
    """Every derived result of a submission, or of one sample of it, as it stands; two queries, or up to ten."""
    request = submission.requests.order_by("-version").first()
    if request is None:
        return []
    samples = [only] if only else list(submission.samples.filter(struck_at=None).order_by("ordinal"))
    asking = asking_of([request], [sample.pk for sample in samples])
    if not asking.definitions:
        return []
    return [Known(one) for one in derive_all(asking, samples, _standing(request, samples))]


def _standing(request: Request, samples: Sequence[Sample]) -> There:
    """What stands for each element that is asked; seven queries."""
    pairs = pairs_of(request, samples)
    rows = Determination.objects.filter(method_version__method__in={method for _, method in pairs})
    versions: dict[int, tuple[str, dict[int, list[str]]]] = {}
    for method, code, version, element in rows.values_list(
        "method_version__method", "method_version__method__code", "method_version__version", "element_id"
    ):
        versions.setdefault(method, (code, {}))[1].setdefault(version, []).append(element)
    found: dict[tuple[int, str, str], Result | str] = {}
    for sample, method in pairs:
        code, elements = versions.get(method, ("", {}))
        for element in elements.get(max(elements, default=0), ()):
            found[sample, code, element] = NO_RESULT
    keys = [sample.pk for sample in samples]
    for word in NotMeasuredResult.objects.filter(sample__in=keys).select_related("method").order_by("pk"):
        code, elements = versions.get(word.method_id, ("", {}))
        for element in [word.element_id] if word.element_id else elements.get(max(elements, default=0), ()):
            found[word.sample_id, code, element] = word.word
    selections = newest_selections(sample_ids=keys)
    turned_down = turned_down_among([selection.result_id for selection in selections.values()])
    for (sample, _, element), selection in selections.items():
        result, why = selection.result, TURNED_DOWN.get(turned_down.get(selection.result_id, ""))
        found[sample, result.evaluation.run.method_version.method.code, element] = why or result
    return there_of((sample, code, element, what) for (sample, code, element), what in found.items())


def sets_page(submission: Submission) -> SetsPage:
    """The sets of a submission; about eleven queries."""
    samples = list(submission.samples.filter(struck_at=None).order_by("ordinal"))
    sets = sets_of([submission.pk]).get(submission.pk, [])
    means: dict[int, list[Known]] = {}
    for known in derived_standing(submission):
        if known.of.sample_set:
            means.setdefault(known.of.sample_set.pk, []).append(known)
    request = submission.requests.order_by("-version").first()
    asked = [row.definition for row in request.derived.select_related("definition")] if request else []
    return SetsPage(submission, sets, means, samples, [row for row in asked if as_definition(row).of_set])
