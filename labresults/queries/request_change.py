"""A request that is to be changed: what it asks for now, what it would ask for, and what a review finds of that."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from labresults.acts import BadInput
from labresults.models import Method, Request, RequestConcern, Sample, Submission
from labresults.queries.due import due_anew
from labresults.queries.request_review import FoundConcern, review, rows_of
from labresults.queries.wanted import Wanted, wanted_of


@dataclass(frozen=True)
class Standing:
    """What a submission asks for as it stands, of the samples that were not struck."""

    submission: Submission
    request: Request
    wanted: Wanted
    samples: tuple[Sample, ...]  # with their matrix

    @property
    def keys(self) -> dict[int, int]:
        """Keys of the samples by their place in the submission."""
        return {sample.ordinal: sample.pk for sample in self.samples}


@dataclass(frozen=True)
class Line:
    """One thing that is asked for, before and after."""

    what: str
    before: str
    after: str

    @property
    def is_changed(self) -> bool:
        """Whether it would be another one."""
        return self.before != self.after


def standing(submission: Submission) -> Standing:
    """What a submission asks for now; five queries."""
    request = submission.requests.select_related("limit_set", "made_by").latest("version")
    samples = submission.samples.filter(struck_at=None).select_related("matrix").order_by("ordinal")
    return Standing(submission, request, wanted_of(request), tuple(samples))


def review_anew(now: Standing, wanted: Wanted, at: datetime) -> tuple[list[FoundConcern], list[RequestConcern]]:
    """What the review of a changed request finds: what is to be accepted, and what was before in the same words.

    Five queries.
    """
    rows = rows_of(now.samples, wanted.codes_of_samples())
    earlier = {(row.sample_id, row.what, row.words): row for row in now.request.concerns.all()}
    keys, anew, kept = now.keys, [], []
    for concern in review(rows, methods=wanted.methods, at=at):
        row = earlier.get((keys[concern.row] if concern.row is not None else None, concern.what, concern.words))
        if row is None:
            anew.append(concern)
        else:
            kept.append(row)
    return anew, kept


def samples_named(now: Standing, numbers: Collection[str]) -> list[Sample]:
    """Samples of a submission by their numbers; no query. Raises BadInput naming those that are not in it."""
    by_number = {sample.number: sample for sample in now.samples}
    missing = [number for number in numbers if number not in by_number]
    if missing:
        raise BadInput(
            f"{now.submission} has no sample {', '.join(missing)}. Give laboratory numbers as on the labels."
        )
    return [by_number[number] for number in numbers]


def with_due_day(now: Standing, wanted: Wanted, at: datetime) -> Wanted:
    """The same, due as it says, or counted anew where it says nothing; six queries then, else none."""
    if wanted.due_on is not None:
        return wanted
    due = due_anew(now.submission.received_at, now.wanted.all_methods(), wanted.all_methods(), at)
    return replace(wanted, due_on=due)


def asked_alone(now: Standing) -> list[tuple[Sample, str]]:
    """Samples that ask for something else than the rest, in words; no query."""
    own = now.wanted.of_samples.keys() | now.wanted.terms.keys()
    return [(sample, own_in_words(now.wanted, sample)) for sample in now.samples if sample.pk in own]


def compared(now: Standing, wanted: Wanted) -> list[Line]:
    """What is asked for before and after, line by line, single samples only where they change; no query."""
    before = now.wanted
    lines = [
        Line("methods of all", _codes(before.methods), _codes(wanted.methods)),
        Line("reported on", before.basis.value, wanted.basis.value),
        Line("compared with", str(before.limit_set or "no limits"), str(wanted.limit_set or "no limits")),
        Line("due", str(before.due_on), str(wanted.due_on)),
        Line("computed", _headings(before), _headings(wanted)),
    ]
    own = [Line(s.number, own_in_words(before, s), own_in_words(wanted, s)) for s in now.samples]
    return lines + [line for line in own if line.is_changed]


def own_in_words(wanted: Wanted, sample: Sample) -> str:
    """What one sample asks for: "AR-8; dry basis, no limits", or as all; no query."""
    methods, terms = wanted.of_samples.get(sample.pk), wanted.terms.get(sample.pk)
    said = [_codes(methods)] if methods else []
    said += [f"{terms.basis.value}, {terms.limit_set or 'no limits'}"] if terms else []
    return "; ".join(said) or "as all"


def _headings(wanted: Wanted) -> str:
    return ", ".join(sorted(f"{row.reported_as} (v{row.version})" for row in wanted.derived)) or "nothing"


def _codes(methods: Sequence[Method]) -> str:
    return ", ".join(sorted(method.code for method in methods)) or "none"
