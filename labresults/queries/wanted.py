"""What a request asks for, as one value: for all samples, and for those that ask for something else."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from labresults.models import DerivedDefinition, LimitSet, Method, Request
from labresults.terms import Basis


@dataclass(frozen=True)
class Terms:
    """Basis and limits of one sample."""

    basis: Basis
    limit_set: LimitSet | None


@dataclass(frozen=True)
class Wanted:
    """What is asked for: for all samples, and for those that ask for something else (by the sample's key)."""

    methods: Sequence[Method]
    basis: Basis
    limit_set: LimitSet | None
    due_on: date | None  # None: from the turnarounds
    of_samples: Mapping[int, Sequence[Method]] = field(default_factory=dict)
    terms: Mapping[int, Terms] = field(default_factory=dict)
    derived: Sequence[DerivedDefinition] = ()  # computed from what the methods give

    def all_methods(self) -> set[Method]:
        """Every method that is asked for, of all samples or of some."""
        return {*self.methods, *(method for own in self.of_samples.values() for method in own)}

    def codes_of_samples(self) -> dict[int, list[str]]:
        """Codes of the methods of samples that ask for others than the rest, by their keys."""
        return {pk: [method.code for method in methods] for pk, methods in self.of_samples.items()}


def wanted_of(request: Request) -> Wanted:
    """What a version of the request asks for; three queries."""
    for_all: list[Method] = []
    of_samples: dict[int, list[Method]] = {}
    for row in request.methods.select_related("method").order_by("method__code"):
        (of_samples.setdefault(row.sample_id, []) if row.sample_id else for_all).append(row.method)
    terms = {row.sample_id: Terms(Basis(row.basis), row.limit_set) for row in request.terms.select_related("limit_set")}
    derived = [row.definition for row in request.derived.select_related("definition").order_by("definition__code")]
    return Wanted(for_all, Basis(request.basis), request.limit_set, request.due_on, of_samples, terms, derived)
