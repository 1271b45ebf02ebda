"""What a reviewer sees: every result that stands in a submission, and which of them ask for a look.

Each function says how many database queries it makes.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from labresults.chain import digest_rows
from labresults.garbage import collecting_later
from labresults.models import (
    NotMeasuredResult,
    Request,
    Result,
    Sample,
    Submission,
)
from labresults.queries.review_columns import Column, columns_of, method_of
from labresults.queries.review_facts import Facts, Key, Look, facts_of, key_of
from labresults.queries.signed import shown_digest, values_digest
from labresults.terms import Decision, Mark

PART = 100
"""So many samples are shown together: a matrix of thousands would take a browser many seconds."""

MOST_LISTED = 300
"""So many results that ask are listed at once, the heaviest first; the others follow when these are decided."""


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
    listed: int = 0  # of these so many are listed by themselves

    @property
    def some(self) -> list[tuple[Sample, Result]]:
        """Those that are listed by themselves."""
        return self.results[: self.listed]


@dataclass(frozen=True)
class ReviewPage:
    """One submission as its reviewer sees it."""

    submission: Submission
    request: Request | None
    columns: list[Column]
    samples: list[Sample]
    limits: list[float | None]  # detection limits, by column, in its unit: the largest
    waiting: list[Result]
    looks: list[Look]
    approved: int
    turned_down: int
    runs: list[str]
    facts: Facts
    asked: Collection[tuple[int, int]]  # pairs of sample and method
    words: Mapping[tuple[int, int, str | None], NotMeasuredResult]

    def row(self, sample: Sample) -> tuple[Sample, list[Cell]]:
        """A sample with its cells, column by column."""
        return sample, [_cell((sample.pk, column.method_id, column.element), column, self) for column in self.columns]

    @cached_property
    def missing(self) -> int:
        """How many are asked for, without a result and without a word."""
        keys = ((s.pk, c.method_id, c.element) for s in self.samples for c in self.columns)
        return sum(key not in self.facts.selections and _word(key, self) == NO_RESULT for key in keys)

    @cached_property
    def asking(self) -> list[Asking]:
        """What asks for a look, drawn together by reasons; the heaviest first."""
        samples = {sample.pk: sample for sample in self.samples}
        groups: dict[tuple[str, tuple[str, ...]], Asking] = {}
        for looks in _by_result(self.looks):
            result, whys = looks[0].result, tuple(dict.fromkeys(look.why for look in looks))
            blocks = any(look.blocks for look in looks)
            empty = Asking(result.element_id, whys, blocks, [])
            groups.setdefault((result.element_id, whys), empty).results.append((samples[result.sample_id], result))
        return list(groups.values())

    @property
    def listed(self) -> list[Asking]:
        """The first of them, as many as hold `MOST_LISTED` results; of the last one perhaps only some."""
        found, room = [], MOST_LISTED
        for group in self.asking:
            if room <= 0:
                break
            found.append(replace(group, listed=min(len(group.results), room)))
            room -= len(group.results)
        return found

    @cached_property
    def asks(self) -> set[int]:
        """Keys of the results that wait and ask for a look."""
        return {look.result.pk for look in self.looks}

    @property
    def asking_count(self) -> int:
        """How many of the results that wait ask for a look."""
        return len(self.asks)

    @property
    def unlisted(self) -> int:
        """How many of them are not listed by themselves."""
        return max(0, self.asking_count - MOST_LISTED)

    @cached_property
    def blocked(self) -> list[Result]:
        """Results that cannot be approved as they are, each once."""
        return list({look.result.pk: look.result for look in self.looks if look.blocks}.values())

    @cached_property
    def twice(self) -> int:
        """How many of the results that stand were chosen from more than one measurement."""
        return sum(bool(self.facts.others(selection.result)) for selection in self.facts.selections.values())

    @cached_property
    def methods(self) -> list[str]:
        """Codes of the methods by which something waits."""
        return sorted({method_of(result) for result in self.waiting})

    @property
    def seen(self) -> str:
        """SHA-256 [hex] of what waits, why it asks and what was decided: whoever signs, signs what was shown."""
        standing = sorted(selection.result_id for selection in self.facts.selections.values())
        decided = ([pk, self.facts.decisions[pk].review_id] for pk in standing if pk in self.facts.decisions)
        looks = ([look.result.pk, look.why] for look in self.looks)
        return digest_rows([[values_digest(self.waiting)], *looks, *decided])

    def shown_digest(self, keys: Collection[int]) -> str:
        """`signed.shown_digest` of those among what waits that are to be approved."""
        chosen = set(keys)
        whys: dict[int, list[str]] = {}
        for look in self.looks:
            whys.setdefault(look.result.pk, []).append(look.why)
        return shown_digest([result for result in self.waiting if result.pk in chosen], whys)

    def counts(self) -> list[tuple[str, int, int]]:
        """Of each method, and of all as "": its code, how many wait, and how many of these ask for a look."""
        codes = ["", *self.methods]
        return [(code, len(waiting_of(self, code)), len(asking_of(self, code))) for code in codes]

    def focus_of(self, cell: int | None) -> int | None:
        """The cell that was asked for, where it is one; else what asks most for a look; else the first that waits."""
        asked = self._place_of(cell)
        if asked is not None:
            standing = self.facts.selections.get(asked)
            return standing.result_id if standing else cell
        first = [look.result.pk for look in self.looks[:1]] or [result.pk for result in self.waiting[:1]]
        shown = (cell.shown for sample in self.samples for cell in self.row(sample)[1] if cell.shown)
        return first[0] if first else next(shown, None)

    def _place_of(self, shown: int | None) -> Key | None:
        """Where a measurement stands, or would."""
        rows = (row for group in self.facts.candidates.values() for row in group)
        return next((key_of(row) for row in rows if row.pk == shown), None)

    def part(self, asked: str, focus: int | None) -> "Part":
        """The rows that are shown together: those asked for (a number from 1), else those with the focused cell."""
        count = max(1, -(-len(self.samples) // PART))
        of = (self._place_of(focus) or (0,))[0]
        at = next((place for place, sample in enumerate(self.samples) if sample.pk == of), 0)
        number = min(max(int(asked), 1), count) if asked.isascii() and asked.isdigit() else 1 + at // PART
        parts = [self.samples[start : start + PART] for start in range(0, len(self.samples), PART)]
        shown = [self.row(sample) for sample in (parts[number - 1] if parts else ())]
        return Part(number, [(part[0], part[-1]) for part in parts], shown)


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
    return [result.pk for result in page.waiting if not method or method == method_of(result)]


def asking_of(page: ReviewPage, method: str) -> set[int]:
    """Keys of those among them that ask for a look."""
    return page.asks & set(waiting_of(page, method)) if method else page.asks


@collecting_later()
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
    standing = [facts.decisions[r.pk].review.decision for r in results if r.pk in facts.decisions]
    return ReviewPage(
        submission=submission,
        request=newest,
        columns=columns,
        samples=samples,
        limits=_limits(columns, results),
        waiting=waiting,
        looks=looks,
        approved=sum(decision == Decision.APPROVE for decision in standing),
        turned_down=sum(decision != Decision.APPROVE for decision in standing),
        runs=sorted({result.evaluation.run.number for result in results}),
        facts=facts,
        asked=asked,
        words=_words(samples),
    )


NO_RESULT = "no result yet"


def _cell(key: Key, column: Column, page: ReviewPage) -> Cell:
    selection, facts = page.facts.selections.get(key), page.facts
    if selection is None:
        candidates = facts.candidates.get(key, [])
        return Cell(None, candidates[-1].pk if candidates else None, _word(key, page), "", "", False, False, False)
    result = selection.result
    decided = facts.decisions.get(result.pk)
    return Cell(
        result=result,
        shown=result.pk,
        word="",
        unit=result.unit if result.unit != column.unit else "",
        decision=decided.review.decision if decided else "",
        asks=result.pk in page.asks,
        blocked=bool(facts.failures[result.pk]["open"]) and decided is None,
        again=bool(facts.others(result)),
        between=Mark.BELOW_QUANTIFICATION in result.marks,
    )


def _word(key: Key, page: ReviewPage) -> str:
    """What stands where no result does: in words, not chosen yet, not there yet, or not asked for."""
    said = page.words.get(key) or page.words.get((key[0], key[1], None))
    if said:
        return str(said.word)
    return "none chosen" if key in page.facts.candidates else NO_RESULT if key[:2] in page.asked else ""


def _words(samples: Sequence[Sample]) -> dict[tuple[int, int, str | None], NotMeasuredResult]:
    rows = NotMeasuredResult.objects.filter(sample__in=samples).order_by("pk")
    return {(row.sample_id, row.method_id, row.element_id): row for row in rows}


def _limits(columns: Iterable[Column], results: Iterable[Result]) -> list[float | None]:
    """The largest detection limit of each column in its unit."""
    found: dict[tuple[int, str, str], float] = {}
    for row in results:
        if row.detection_limit is not None:
            key = (row.evaluation.run.method_version.method_id, row.element_id, row.unit)
            found[key] = max(row.detection_limit, found.get(key, row.detection_limit))
    return [found.get((column.method_id, column.element, column.unit)) for column in columns]
