"""Review: every result that stands beside its evidence; signed, refused, sent back, or another one chosen."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_POST

from labresults.actions.evaluation import select_result
from labresults.actions.review import approve_results, refuse_results, send_back_results
from labresults.queries.review_evidence import Evidence, evidence, evidence_of
from labresults.queries.review_overrides import overrides_behind
from labresults.queries.review_pages import ReviewPage, review_page, reviewable
from labresults.queries.waiting import at
from labresults.terms import Decision, Station
from labresults.web.acting import answer
from labresults.web.filters.review import ReviewFilter
from labresults.web.forms.review import MEANINGS, ApproveForm, SelectForm, TurnDownForm
from labresults.web.shared import listing
from labresults.web.tables.review import ReviewTable

ROOMY, WIDE = 6, 8
"""Up to so many columns the client's own identification stands beside them; of more than WIDE the first one stays while
the others scroll."""


def reviews(request: HttpRequest) -> HttpResponse:
    """What waits for a second person."""
    samples = sum(row.samples for row in at(Station.REVIEW))
    lead = f"{samples} samples wait for a second person’s look." if samples else "No sample waits for review."
    return listing(request, ReviewTable, ReviewFilter, reviewable(), title="Review", lead=lead, here=Station.REVIEW)


def review(request: HttpRequest, number: str) -> HttpResponse:
    """One submission as a matrix, with the evidence for the cell in focus; alone where only that is asked for."""
    cell = _key(request.GET.get("cell", ""))
    if cell is not None and _wants_evidence_only(request):
        context = {"evidence": evidence_of(number, cell), "number": number}
        response = render(request, "labresults/review/evidence.html", context)
    else:
        page = review_page(number)
        response = render(request, "labresults/review/review.html", _shown(page, cell))
    patch_vary_headers(response, ["HX-Request"])
    return response


@require_POST
def approve(request: HttpRequest, number: str) -> HttpResponse:
    """Sign what waits."""
    form = ApproveForm(request.POST, page=review_page(number))
    done = partial(approve_results, by=request.user, at=timezone.now())
    return answer(
        request,
        form,
        lambda given: done(**{name: given[name] for name in ("results", "password", "meaning", "reason")}),
        "Approved, and signed with your name.",
        reverse("review", args=[number]),
    )


@require_POST
def turn_down(request: HttpRequest, number: str) -> HttpResponse:
    """Refuse results, or send them back to be measured again."""
    selections = review_page(number).facts.selections.values()
    form = TurnDownForm(request.POST, results=[selection.result_id for selection in selections])
    acts = {Decision.REFUSE: refuse_results, Decision.SEND_BACK: send_back_results}

    def done(given: dict[str, object]) -> object:
        act = acts[Decision(str(given.pop("decision")))]
        return act(by=request.user, at=timezone.now(), **given)

    return answer(request, form, done, "Done: the analyst reads your reason.", reverse("review", args=[number]))


@require_POST
def choose(request: HttpRequest, number: str) -> HttpResponse:
    """Let another measurement stand than the rule chose."""
    rows = {row.pk: row for group in review_page(number).facts.candidates.values() for row in group}
    form = SelectForm(request.POST, results=rows)
    done = partial(select_result, by=request.user, at=timezone.now())
    return answer(
        request,
        form,
        lambda given: done(result=rows[given["result"]], reason=given["reason"]),
        "This measurement stands now. It waits for review like any other.",
        f"{reverse('review', args=[number])}?cell={_key(request.POST.get('result', '')) or ''}#evidence",
    )


def _key(written: str) -> int | None:
    """A row's key as it was written in an address; None where it is none."""
    return int(written) if written.isascii() and written.isdigit() and len(written) < 19 else None


def _wants_evidence_only(request: HttpRequest) -> bool:
    return "HX-Request" in request.headers and "HX-History-Restore-Request" not in request.headers


def _shown(page: ReviewPage, cell: int | None) -> dict[str, object]:
    beside = _evidence(page, cell)
    return {
        "page": page, "submission": page.submission, "number": page.submission.number, "evidence": beside,
        "focus": beside.result.pk if beside else None, "wide": len(page.columns) > WIDE,
        "roomy": len(page.columns) <= ROOMY, "meanings": MEANINGS, "here": Station.REVIEW,
        "overrides": overrides_behind(page.submission),
    }  # fmt: skip


def _evidence(page: ReviewPage, cell: int | None) -> Evidence | None:
    """The cell that was asked for; else what asks most for a look; else the first that waits, or that stands."""
    first = [look.result for look in page.looks[:1]] or page.waiting[:1]
    stands = [cell.shown for _, cells in page.rows for cell in cells if cell.shown]
    keys = [cell, *(result.pk for result in first), *stands[:1]]
    return next((found for key in keys if key is not None and (found := evidence(page.facts, key))), None)
