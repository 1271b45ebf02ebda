"""What a reviewer sees: every result that stands in a submission, and which of them ask for a look.

Each function says how many database queries it makes.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from django.db.models import Count, Exists, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from labresults.chain import digest_rows
from labresults.models import (
    Determination,
    MethodVersion,
    NotMeasuredResult,
    Request,
    Result,
    ReviewedResult,
    Sample,
    Selection,
    Submission,
)
from labresults.queries.asked import pairs_of
from labresults.queries.lists import submissions
from labresults.queries.review_facts import Facts, Key, Look, facts_of
from labresults.queries.waiting import open_work
from labresults.terms import Decision


@dataclass(frozen=True)
class Column:
    """One element by one method."""

    method_id: int
    method: str
    element: str
    reported_as: str
    unit: str


@dataclass(frozen=True)
class Cell:
    """One sample at one column: the result that stands, what was decided of it, and what a reviewer must know."""

    result: Result | None
    shown: int | None  # key of the result whose evidence is shown: a candidate where none stands
    word: str  # what stands there instead of a number
    unit: str  # where it is not the column's
    decision: str  # approved, refused, sent back, or "" while it waits
    asks: bool
    blocked: bool
    again: bool  # chosen from more than one measurement

    @property
    def turned_down(self) -> bool:
        """Whether it was refused or sent back."""
        return self.decision not in ("", Decision.APPROVE)


@dataclass(frozen=True)
class Asking:
    """Results of one element that ask for a look for the same reason."""

    element: str
    why: str
    weight: int
    blocks: bool
    results: list[tuple[Sample, Result]]


@dataclass(frozen=True)
class ReviewPage:
    """One submission as its reviewer sees it."""

    submission: Submission
    request: Request | None
    columns: list[Column]
    rows: list[tuple[Sample, list[Cell]]]
    limits: list[float | None]  # detection limits, by column, in its unit: the largest
    waiting: list[Result]
    looks: list[Look]
    approved: int
    turned_down: int
    runs: list[str]
    missing: int  # asked for, without a result and without a word
    facts: Facts

    @property
    def asking(self) -> list[Asking]:
        """What asks for a look, drawn together by reason; the heaviest first."""
        samples = {sample.pk: sample for sample, _ in self.rows}
        groups: dict[tuple[int, str, str], Asking] = {}
        for look in self.looks:
            key = (look.weight, look.result.element_id, look.why)
            empty = Asking(look.result.element_id, look.why, look.weight, look.blocks, [])
            groups.setdefault(key, empty).results.append((samples[look.result.sample_id], look.result))
        return list(groups.values())

    @property
    def asking_count(self) -> int:
        """How many of the results that wait ask for a look."""
        return len(asking_of(self, ""))

    @property
    def blocked(self) -> list[Result]:
        """Results that cannot be approved as they are, each once."""
        return list({look.result.pk: look.result for look in self.looks if look.blocks}.values())

    @property
    def twice(self) -> int:
        """How many of the results that stand were chosen from more than one measurement."""
        return sum(cell.again for _, cells in self.rows for cell in cells)

    @property
    def methods(self) -> list[str]:
        """Codes of the methods by which something waits."""
        return sorted({method_of(result) for result in self.waiting})

    @property
    def seen(self) -> str:
        """SHA-256 [hex] of what waits and why it asks: whoever signs, signs what was shown."""
        waits = [[result.pk, repr(result.value)] for result in self.waiting]
        return digest_rows([*waits, *([look.result.pk, look.why] for look in self.looks)])


def method_of(result: Result) -> str:
    """The code of the method that a result was measured by."""
    return str(result.evaluation.run.method_version.method.code)


def waiting_of(page: ReviewPage, method: str) -> list[int]:
    """Keys of the results that wait, by one method or, with "", by all."""
    return [result.pk for result in page.waiting if method in ("", method_of(result))]


def asking_of(page: ReviewPage, method: str) -> set[int]:
    """Keys of those among them that ask for a look."""
    return {look.result.pk for look in page.looks} & set(waiting_of(page, method))


def review_page(number: str) -> ReviewPage:
    """The matrix of a submission, and what asks for a look; about 16 queries. Raises Submission.DoesNotExist."""
    submission = Submission.objects.select_related("client").get(number=number)
    samples = list(submission.samples.filter(struck_at=None).select_related("matrix").order_by("ordinal"))
    facts = facts_of([sample.pk for sample in samples])
    results = [selection.result for selection in facts.selections.values()]
    waiting = sorted((r for r in results if r.pk not in facts.decisions), key=lambda r: r.pk)
    looks = sorted((look for r in waiting for look in facts.looks(r)), key=lambda look: (-look.weight, look.result.pk))
    newest = submission.requests.order_by("-version").first()
    columns, asked = _columns(newest, samples, facts.selections)
    words = _words(samples)
    asking = {look.result.pk for look in looks}
    rows = [(s, [_cell(s, c, facts, words, asking, asked) for c in columns]) for s in samples]
    standing = [facts.decisions[r.pk].review.decision for r in results if r.pk in facts.decisions]
    return ReviewPage(
        submission=submission,
        request=newest,
        columns=columns,
        rows=rows,
        limits=[_limit(column, results) for column in columns],
        waiting=waiting,
        looks=looks,
        approved=sum(decision == Decision.APPROVE for decision in standing),
        turned_down=sum(decision != Decision.APPROVE for decision in standing),
        runs=sorted({result.evaluation.run.number for result in results}),
        missing=sum(cell.word == "no result yet" for _, cells in rows for cell in cells),
        facts=facts,
    )


def reviewable() -> QuerySet[Submission]:
    """Submissions with the number of results that nobody has decided about, `unsaid`; one query a page."""
    later = Selection.objects.filter(
        sample=OuterRef("sample"), method=OuterRef("method"), element=OuterRef("element"), pk__gt=OuterRef("pk")
    )
    said = ReviewedResult.objects.filter(result=OuterRef("result"))
    unsaid = Selection.objects.filter(~Exists(later), ~Exists(said), sample__submission=OuterRef("pk"))
    counted = unsaid.order_by().values("sample__submission").annotate(n=Count("pk")).values("n")
    return submissions().annotate(unsaid=Coalesce(Subquery(counted), 0))


def waiting_numbers() -> list[str]:
    """Submissions on the path, in which results can wait; queries as `open_work`."""
    return list(dict.fromkeys(row.submission for row in open_work()))


def _columns(
    request: Request | None, samples: Sequence[Sample], selections: dict[Key, Selection]
) -> tuple[list[Column], set[tuple[int, int]]]:
    """The columns in the order of methods and their determinations; pairs of sample and method asked for.

    Every result that stands has its column, whatever version of the method it was measured by.
    """
    asked = pairs_of(request, samples)
    used = {s.result.evaluation.run.method_version_id for s in selections.values()}
    versions = MethodVersion.objects.filter(method__in={method for _, method in asked} | {k[1] for k in selections})
    chosen = _versions(versions.select_related("method").order_by("version"), used)
    rows = Determination.objects.filter(method_version__in=chosen).order_by("method_version__version", "ordinal")
    found: dict[tuple[int, str], Column] = {}
    for row in rows:
        method = chosen[row.method_version_id].method
        found[method.pk, row.element_id] = Column(method.pk, method.code, row.element_id, row.reported_as, row.unit)
    for (_, method_id, element), selection in selections.items():
        result = selection.result
        extra = Column(method_id, method_of(result), element, result.reported_as, result.unit)
        found.setdefault((method_id, element), extra)
    return sorted(found.values(), key=lambda column: column.method), asked


def _versions(versions: Collection[MethodVersion], used: set[int]) -> dict[int, MethodVersion]:
    """Of each method the versions that results were measured by; without any, its newest."""
    measured = {version.method_id for version in versions if version.pk in used}
    newest = {version.method_id: version.pk for version in versions}
    kept = used | {pk for method, pk in newest.items() if method not in measured}
    return {version.pk: version for version in versions if version.pk in kept}


def _cell(
    sample: Sample,
    column: Column,
    facts: Facts,
    words: dict[tuple[int, int, str | None], NotMeasuredResult],
    asking: Collection[int],
    asked: Collection[tuple[int, int]],
) -> Cell:
    key = (sample.pk, column.method_id, column.element)
    selection = facts.selections.get(key)
    if selection is None:
        return _empty(key, facts, words, asked)
    result = selection.result
    decided = facts.decisions.get(result.pk)
    return Cell(
        result=result,
        shown=result.pk,
        word="",
        unit=result.unit if result.unit != column.unit else "",
        decision=decided.review.decision if decided else "",
        asks=result.pk in asking,
        blocked=bool(facts.failures[result.pk]["open"]) and decided is None,
        again=bool(facts.others(result)),
    )


def _empty(
    key: Key,
    facts: Facts,
    words: dict[tuple[int, int, str | None], NotMeasuredResult],
    asked: Collection[tuple[int, int]],
) -> Cell:
    """A cell in which no result stands: in words, not chosen yet, not there yet, or not asked for."""
    candidates = facts.candidates.get(key, [])
    said = words.get(key) or words.get((key[0], key[1], None))
    word = said.word if said else "none chosen" if candidates else "no result yet" if key[:2] in asked else ""
    return Cell(None, candidates[-1].pk if candidates else None, word, "", "", False, False, False)


def _words(samples: Sequence[Sample]) -> dict[tuple[int, int, str | None], NotMeasuredResult]:
    rows = NotMeasuredResult.objects.filter(sample__in=samples).order_by("pk")
    return {(row.sample_id, row.method_id, row.element_id): row for row in rows}


def _limit(column: Column, results: Sequence[Result]) -> float | None:
    limits = [
        r.detection_limit
        for r in results
        if r.detection_limit is not None
        and (r.evaluation.run.method_version.method_id, r.element_id, r.unit)
        == (column.method_id, column.element, column.unit)
    ]
    return max(limits, default=None)
