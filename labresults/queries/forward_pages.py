"""What one doubtful thing touched, as its page and its file show it.

The number of queries is flat, whatever was touched; lists are shown in parts, and counted whole.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q, QuerySet

from labresults.models import Lot, NonconformingWork, PreparationBatch, Result, Run, Submission
from labresults.queries.forward import Doubt, NotThere, Ways, touched_results, ways_from
from labresults.queries.issued import issues_of_results, issues_with_who_has_them, numbers_standing_on
from labresults.queries.nonconforming import Case, case, doubt_of, results_of, works
from labresults.readers.harmless import as_line, protected
from labresults.terms import DoubtKind

SHOWN = 50
"""So many certificates or submissions stand on one page."""

BETWEEN = 12
"""So many of what lies between are named; the others are counted."""

COLUMNS = (
    "sample", "client's own identification", "client", "submission", "method", "run", "position", "line", "analyte",
    "value", "unit", "basis", "detection limit", "marks", "certificates",
)  # fmt: skip
"""Headings of the file: a row a result, unrounded, its limit in the same unit; marks say what is below its limit."""


@dataclass(frozen=True)
class Between:
    """Things of one kind that lie between: the newest by number, and how many there are."""

    page: str  # name of the page that each leads to
    words: str  # one and many, as the filter `things` takes them
    count: int
    newest: list[str]

    @property
    def more(self) -> int:
        """How many are not named."""
        return self.count - len(self.newest)


@dataclass(frozen=True)
class TouchedIssue:
    """A certificate that prints what was touched, and who has it."""

    issue: Any
    numbers: int
    fetched_by: list[str]
    told: list[str]

    @property
    def state(self) -> tuple[str, str]:
        """Class of its tag, and what became of it."""
        if hasattr(self.issue, "withdrawal"):
            return ("fail", "withdrawn")
        if hasattr(self.issue, "replaced_by"):
            return ("", f"replaced by issue {self.issue.replaced_by.issue}")
        return ("care", "preliminary") if self.issue.preliminary else ("ok", "in force")


@dataclass(frozen=True)
class Carried:
    """Where results stand: certificates and submissions, a part of each, and counted whole.

    rows: submissions with `touched_results` and `touched_samples`; clients: of all submissions, by name.
    """

    results: int
    samples: int
    numbers: int  # printed, on all certificates
    certificates: int
    issues: list[TouchedIssue]
    submissions: int
    rows: list[Submission]
    clients: list[str]
    page: int
    pages: int


@dataclass(frozen=True)
class TouchedPage:
    """What a doubtful thing touched; `works` were opened from the same thing before."""

    doubt: Doubt
    between: list[Between]
    carried: Carried
    works: list[NonconformingWork]

    @property
    def results(self) -> int:
        """How many results it touched."""
        return self.carried.results


@dataclass(frozen=True)
class LotTouched:
    """What stands on a lot, in short: lots made from it, and how many batches, runs, samples and certificates."""

    made: list[Lot]
    batches: int
    runs: int
    samples: int
    certificates: int


@dataclass(frozen=True)
class CasePage:
    """One case with what it touched when it was opened, and how many results the same thing touched since."""

    case: Case
    doubt: Doubt
    carried: Carried
    since: int


def touched(doubt: Doubt, page: str = "") -> TouchedPage:
    """What a doubtful thing touched; at most 14 queries. Raises NotThere."""
    ways = ways_from(doubt)
    results = touched_results(doubt, ways)
    return TouchedPage(
        doubt,
        [one for one in _between(ways, results, doubt) if one.count],
        carried(results, page),
        list(works().filter(kind=doubt.kind, name=doubt.name)),
    )


def touched_by_lot(number: str) -> LotTouched:
    """What a lot touched, in short, measured already or not; six queries. Raises NotThere."""
    doubt = Doubt(DoubtKind.LOT, number)
    ways = ways_from(doubt)
    results = touched_results(doubt, ways).order_by()
    holding = Q(*(Q(pk__in=rows.values("pk")) for rows in ways.batches), _connector=Q.OR)
    holding |= Q(*(Q(portions__in=rows.values("pk")) for rows in ways.portions), _connector=Q.OR)
    return LotTouched(
        made=[lot for lot in ways.lots if lot.number != number],
        batches=PreparationBatch.objects.filter(holding).distinct().count(),
        runs=sum(rows.count() for rows in ways.runs),
        samples=results.aggregate(samples=Count("sample", distinct=True))["samples"],
        certificates=len(numbers_standing_on(results)),
    )


def case_page(number: str, page: str = "") -> CasePage:
    """One case; at most 15 queries. Raises NonconformingWork.DoesNotExist."""
    found = case(number)
    doubt = doubt_of(found.work)
    try:
        since = touched_results(doubt).exclude(pk__in=found.work.touched.values("result")).count()
    except NotThere:
        since = 0
    return CasePage(found, doubt, carried(results_of(found.work), page), since)


def carried(results: QuerySet[Result], page: str = "") -> Carried:
    """Which certificates and submissions carry results; six queries, whatever their number."""
    counts = results.order_by().aggregate(results=Count("pk"), samples=Count("sample", distinct=True))
    numbers = numbers_standing_on(results)
    by_submission = _by_submission(results)
    pages = max(1, -(-max(len(numbers), len(by_submission)) // SHOWN))
    at = min(max(int(page), 1), pages) if page.isdecimal() else 1
    shown = slice((at - 1) * SHOWN, at * SHOWN)
    return Carried(
        results=counts["results"],
        samples=counts["samples"],
        numbers=sum(numbers.values()),
        certificates=len(numbers),
        issues=_issues(numbers, sorted(numbers, reverse=True)[shown]),
        submissions=len(by_submission),
        rows=_submissions(by_submission, sorted(by_submission, reverse=True)[shown]),
        clients=sorted({client for _, _, client in by_submission.values()}),
        page=at,
        pages=pages,
    )


def results_file(doubt: Doubt) -> Iterator[str]:
    """Everything touched as CSV, a row a result, line by line; at most eight queries, streamed. Raises NotThere."""
    results = touched_results(doubt)
    yield _line(COLUMNS)
    printed = _printed_on(results)
    rows = results.select_related(
        "sample__submission__client", "evaluation__run__method_version__method", "position", "line"
    )
    for row in rows.iterator(chunk_size=2_000):
        yield _line(_cells(row, printed.get(row.pk, [])))


def _cells(row: Result, certificates: list[str]) -> list[object]:
    sample: Any = row.sample  # what is touched is of samples
    run = row.evaluation.run
    return [
        sample.number,
        sample.client_identification,
        sample.submission.client.name,
        sample.submission.number,
        str(run.method_version),
        run.number,
        row.position.number,
        str(row.line),
        row.reported_as,
        row.value,
        row.unit,
        row.basis,
        row.detection_limit,
        "; ".join(row.marks),
        "; ".join(certificates),
    ]


def _line(cells: Iterable[object]) -> str:
    """One line of the file: numbers to their last bit, texts that a spreadsheet leaves alone."""
    return as_line(protected(cell) if isinstance(cell, str) else cell for cell in cells)


def _printed_on(results: QuerySet[Result]) -> dict[int, list[str]]:
    """Certificates that print each result or what was derived from it, by its key; two queries."""
    found: dict[int, list[str]] = {}
    for pk, number, issue in issues_of_results(results):
        found.setdefault(pk, []).append(f"{number}, issue {issue}")
    return found


def _issues(numbers: dict[int, int], keys: list[int]) -> list[TouchedIssue]:
    return [
        TouchedIssue(
            issue,
            numbers[issue.pk],
            sorted({str(fetch.made_by) for fetch in issue.fetches.all()}),
            sorted({f"{notice.name}: {notice.kind}" for notice in issue.notices.all()}),
        )
        for issue in issues_with_who_has_them(keys)
    ]


def _by_submission(results: QuerySet[Result]) -> dict[int, tuple[int, int, str]]:
    """Results and samples touched, and the client's name, of each submission by its key; one query."""
    rows = results.order_by().values_list("sample__submission", "sample__submission__client__name")
    counted = rows.annotate(results=Count("pk"), samples=Count("sample", distinct=True))
    return {pk: (results, samples, client) for pk, client, results, samples in counted}


def _submissions(counts: dict[int, tuple[int, int, str]], keys: list[int]) -> list[Submission]:
    """Submissions with how much of them was touched, newest first; one query."""
    rows = list(Submission.objects.filter(pk__in=keys).select_related("client").order_by("-pk"))
    for row in rows:
        row.touched_results, row.touched_samples, _ = counts[row.pk]  # type: ignore[attr-defined]
    return rows


def _between(ways: Ways, results: QuerySet[Result], doubt: Doubt) -> Iterator[Between]:
    """Lots that were made, batches and runs; four queries."""
    made = [lot for lot in ways.lots if lot.number != doubt.name]
    yield Between("lot", "lot", len(made), [lot.number for lot in made[:BETWEEN]])
    batches = PreparationBatch.objects.filter(portions__positions__results__in=results.order_by().values("pk"))
    yield _newest("batch", "batch,batches", batches)
    runs = Run.objects.filter(evaluations__results__in=results.order_by().values("pk"))
    yield _newest("run", "run", runs)


def _newest(page: str, words: str, rows: QuerySet[Any]) -> Between:
    distinct = rows.order_by().values("pk", "number").distinct()
    newest = [row["number"] for row in distinct.order_by("-pk")[:BETWEEN]]
    count = len(newest) if len(newest) < BETWEEN else distinct.count()
    return Between(page, words, count, newest)
