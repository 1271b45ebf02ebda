"""Derived results: how they come from measured ones, and the sets of samples that means are taken over."""

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from math import isfinite
from typing import Any

from labresults.acts import BadInput, Done, act
from labresults.calculation.derived_terms import KEYS, Definition, flaws_of, terms_of
from labresults.models import DerivedDefinition, Method, Person, Sample, SampleSet, SampleSetMember, Submission
from labresults.readers.problem import Problem
from labresults.terms import BelowInSum, DerivedForm


@act("define_derived")
def define_derived(
    *,
    by: Person,
    at: datetime,
    reason: str,
    code: str,
    name: str,
    reported_as: str,
    unit: str,
    form: DerivedForm,
    terms: Sequence[Mapping[str, Any]],
    source: str,
    below: BelowInSum = BelowInSum.ZERO,
    all_needed: bool = True,
    remark: str = "",
) -> Done[DerivedDefinition]:
    """Enter the next version of a derived result; older ones stay, with the certificates that they were printed on.

    terms: of each part, element, as, unit, factor and by, as `calculation.derived_terms` reads them. Raises BadInput
    with every flaw at its term, or without a source.
    """
    definition = _definition(code, name, reported_as, unit, form, terms, source, below, all_needed, remark)
    problems = [*_problems(definition), *_unknown_methods(definition)]
    if problems:
        raise BadInput(f"{len(problems)} to correct; nothing was entered.", tuple(problems))
    before = DerivedDefinition.objects.filter(code=code).order_by("-version").first()
    row = DerivedDefinition.objects.create(
        code=code,
        version=before.version + 1 if before else 1,
        name=name,
        reported_as=reported_as,
        unit=unit,
        form=form,
        terms=_as_stored(definition),
        below=below,
        all_needed=all_needed,
        source=source,
        remark=remark,
        made_by=by,
        made_at=at,
    )
    return Done(row, subject=("derived result", str(row)), before=_said(before) if before else None, after=_said(row))


@act("define_sample_set")
def define_sample_set(
    *,
    by: Person,
    at: datetime,
    reason: str,
    submission: Submission,
    name: str,
    members: Sequence[tuple[Sample, float]],
) -> Done[SampleSet]:
    """Say which samples of a submission belong together and what mass, kg, each stands for; replaces one of that name.

    members: none ends the set. Raises BadInput for a sample twice, of another submission or struck, or without a mass.
    """
    name = name.strip()
    problems = tuple(_problems_of_members(submission, members))
    if not name or len(name) > SampleSet._meta.get_field("name").max_length:  # type: ignore[operator]
        raise BadInput("Give the set a name of at most 60 characters.")
    if problems:
        raise BadInput(f"{len(problems)} to correct; nothing was entered.", problems)
    before = SampleSet.objects.filter(submission=submission, name=name).order_by("-pk").first()
    row = SampleSet.objects.create(submission=submission, name=name, made_by=by, made_at=at)
    SampleSetMember.objects.bulk_create(
        SampleSetMember(sample_set=row, sample=sample, mass_kg=mass_kg) for sample, mass_kg in members
    )
    return Done(
        row,
        subject=("submission", submission.number),
        before={"set": name, "members": _members_said(before)} if before else None,
        after={"set": name, "members": [[str(sample), mass_kg] for sample, mass_kg in members]},
    )


def _definition(
    code: str,
    name: str,
    reported_as: str,
    unit: str,
    form: DerivedForm,
    terms: Sequence[Mapping[str, Any]],
    source: str,
    below: BelowInSum,
    all_needed: bool,
    remark: str,
) -> Definition:
    """The definition as the calculation takes it. Raises BadInput where something that it must say is empty."""
    for what, given in (("code", code), ("name", name), ("heading", reported_as), ("unit", unit), ("source", source)):
        if not given.strip():
            raise BadInput(f"A derived result needs its {what}. Nothing was entered.")
    if not re.fullmatch(r"[a-z0-9-]{1,20}", code):
        raise BadInput(f"The code “{code}” stands in columns and addresses: write up to 20 of a-z, 0-9 and hyphens.")
    unknown = sorted({key for term in terms for key in term} - KEYS)
    if unknown:
        raise BadInput(f"A term has no {', '.join(unknown)}; it may say {', '.join(sorted(KEYS))}.")
    try:
        read = terms_of(terms)
    except (KeyError, TypeError, ValueError) as error:
        needed = "It needs an element and a unit, and a factor is a number."
        raise BadInput(f"A term cannot be read ({error}). {needed}") from error
    return Definition(code, 0, name, reported_as, unit, form, read, below, all_needed, source, remark)


def _problems(definition: Definition) -> Iterator[Problem]:
    for flaw in flaws_of(definition):
        yield Problem(flaw.term, flaw.column, flaw.what, flaw.what_to_do)


def _unknown_methods(definition: Definition) -> Iterator[Problem]:
    known = set(Method.objects.values_list("code", flat=True))
    for number, term in enumerate(definition.terms, start=1):
        missing = [code for code in term.by if code not in known]
        if missing:
            what = f"There is no method {', '.join(missing)}."
            yield Problem(number, "by", what, "Leave it empty for any method, or name one that is there.")


def _as_stored(definition: Definition) -> list[dict[str, Any]]:
    return [
        {
            "part": term.part,
            "element": term.element,
            "as": term.reported_as,
            "unit": term.unit,
            "factor": term.factor,
            "by": list(term.by),
        }
        for term in definition.terms
    ]


def _said(row: DerivedDefinition) -> dict[str, Any]:
    names = ("version", "name", "reported_as", "unit", "form", "terms", "below", "all_needed", "source", "remark")
    return {name.replace("_", " "): getattr(row, name) for name in names}


def _members_said(row: SampleSet) -> list[list[Any]]:
    return [[str(member.sample), member.mass_kg] for member in row.members.select_related("sample").order_by("pk")]


def _problems_of_members(submission: Submission, members: Sequence[tuple[Sample, float]]) -> Iterator[Problem]:
    seen: set[int] = set()
    for number, (sample, mass_kg) in enumerate(members, start=1):
        if sample.submission_id != submission.pk or sample.struck_at is not None:
            yield Problem(number, "sample", f"{sample} is not a sample of {submission}.", "Leave it out.")
        if sample.pk in seen:
            yield Problem(number, "sample", f"{sample} stands twice.", "Leave one of them out.")
        if not isfinite(mass_kg) or mass_kg <= 0:
            yield Problem(number, "mass, kg", f"{mass_kg:g} kg is no mass.", "Give what it stands for, above zero.")
        seen.add(sample.pk)
