"""What a reviewer sees: every result that stands in a submission, and which of them ask for a look.

Each function says how many database queries it makes.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from labresults.chain import digest_rows
from labresults.models import (
    NotMeasuredResult,
    Request,
    Result,
    Sample,
    Submission,
)
from labresults.queries.review_columns import Column, columns_of, method_of
from labresults.queries.review_facts import Facts, Key, Look, facts_of, key_of
from labresults.queries.signed import values_digest
from labresults.terms import Decision, Mark

PART = 100
"""So many samples are shown together: a matrix of thousands would take a browser many seconds."""


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
    between: bool = False  # between its detection and its quantification limit

    @property
    def turned_down(self) -> bool:
        """Whether it was refused or sent back."""
        return self.decision not in ("", Decision.APPROVE)


@dataclass(frozen=True)
class Asking:
    """Results of one element that ask for a look for the very same reasons; each result stands in one group."""

    element: str
    whys: tuple[str, ...]
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
        """What asks for a look, drawn together by reasons; the heaviest first."""
        samples = {sample.pk: sample for sample, _ in self.rows}
        groups: dict[tuple[str, tuple[str, ...]], Asking] = {}
        for looks in _by_result(self.looks):
            result, whys = looks[0].result, tuple(dict.fromkeys(look.why for look in looks))
            blocks = any(look.blocks for look in looks)
            empty = Asking(result.element_id, whys, blocks, [])
            groups.setdefault((result.element_id, whys), empty).results.append((samples[result.sample_id], result))
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
        return digest_rows([[values_digest(self.waiting)], *([look.result.pk, look.why] for look in self.looks)])

    def shown_digest(self, keys: Collection[int]) -> str:
        """`values_digest` of those among what waits that are to be approved."""
        chosen = set(keys)
        return values_digest(result for result in self.waiting if result.pk in chosen)

    def counts(self) -> list[tuple[str, int, int]]:
        """Of each method, and of all as "": its code, how many wait, and how many of these ask for a look."""
        codes = ["", *self.methods]
        return [(code, len(waiting_of(self, code)), len(asking_of(self, code))) for code in codes]

    def focus_of(self, cell: int | None) -> int | None:
        """The cell that was asked for, where it is one; else what asks most for a look; else the first that waits."""
        rows = (row for group in self.facts.candidates.values() for row in group)
        asked = next((key_of(row) for row in rows if row.pk == cell), None)
        if asked is not None:
            standing = self.facts.selections.get(asked)
            return standing.result_id if standing else cell
        first = [look.result.pk for look in self.looks[:1]] or [result.pk for result in self.waiting[:1]]
        return next(iter([*first, *(c.shown for _, cells in self.rows for c in cells if c.shown)]), None)

    def part(self, asked: str, focus: int | None) -> "Part":
        """The rows that are shown together: those asked for (a number from 1), else those with the focused cell."""
        count = max(1, -(-len(self.rows) // PART))
        at = next((place for place, (_, cells) in enumerate(self.rows) if focus in [c.shown for c in cells]), 0)
        number = min(max(int(asked), 1), count) if asked.isascii() and asked.isdigit() else 1 + at // PART
        names = [(self.rows[start][0], self.rows[min(start + PART, len(self.rows)) - 1][0]) for start in self._starts()]
        return Part(number, names, self.rows[(number - 1) * PART : number * PART])

    def _starts(self) -> range:
        return range(0, len(self.rows), PART)


@dataclass(frozen=True)
class Part:
    """Some of the rows; `names`: the first and last sample of each part."""

    number: int
    names: list[tuple[Sample, Sample]]
    rows: list[tuple[Sample, list[Cell]]]


def _by_result(looks: Sequence[Look]) -> list[list[Look]]:
    """The looks of each result together, in the order of the heaviest of each."""
    found: dict[int, list[Look]] = {}
    for look in looks:
        found.setdefault(look.result.pk, []).append(look)
    return list(found.values())


def waiting_of(page: ReviewPage, method: str) -> list[int]:
    """Keys of the results that wait, by one method or, with "", by all."""
    return [result.pk for result in page.waiting if method in ("", method_of(result))]


def asking_of(page: ReviewPage, method: str) -> set[int]:
    """Keys of those among them that ask for a look."""
    return {look.result.pk for look in page.looks} & set(waiting_of(page, method))


def review_page(number: str) -> ReviewPage:
    """The matrix of a submission, and what asks for a look; about 28 queries. Raises Submission.DoesNotExist."""
    of = Sample.objects.filter(submission__number=number, struck_at=None).select_related("submission__client", "matrix")
    samples = list(of.order_by("ordinal"))
    submission = samples[0].submission if samples else Submission.objects.select_related("client").get(number=number)
    facts = facts_of([sample.pk for sample in samples], samples)
    results = [selection.result for selection in facts.selections.values()]
    waiting = sorted((r for r in results if r.pk not in facts.decisions), key=lambda r: r.pk)
    looks = sorted((look for r in waiting for look in facts.looks(r)), key=lambda look: (-look.weight, look.result.pk))
    newest = submission.requests.order_by("-version").first()
    columns, asked = columns_of(newest, samples, facts.selections)
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
        between=Mark.BELOW_QUANTIFICATION in result.marks,
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
