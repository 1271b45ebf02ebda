"""Review: every result that stands beside its evidence; signed, refused, sent back, or another one chosen."""

from functools import partial
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_POST

from labresults.actions.comments import comment_result
from labresults.actions.evaluation import select_result
from labresults.actions.review import refuse_results, send_back_results, sign_review
from labresults.queries.derived_pages import columns_beside
from labresults.queries.review_evidence import evidence_of, measurements, standing_among
from labresults.queries.review_lists import reviewable
from labresults.queries.review_overrides import overrides_behind
from labresults.queries.review_pages import ReviewPage, review_page
from labresults.queries.second_factor import has_second_factor
from labresults.queries.waiting import at
from labresults.terms import Station
from labresults.web.acting import answer
from labresults.web.filters.review import ReviewFilter
from labresults.web.forms.review import MEANINGS, CommentForm, SelectForm, SignForm, TurnDownForm
from labresults.web.review_drawings import curve_drawing, history_drawing
from labresults.web.shared import acts_of, listing
from labresults.web.tables.review import ReviewTable

ROOMY, WIDE = 6, 8
"""Up to so many columns the client's own identification stands beside them; of more than WIDE the first one stays while
the others scroll."""

SIGNED = ("results", "turned_down", "looked_at", "seen_sha256", "password", "code", "meaning", "reason")


def reviews(request: HttpRequest) -> HttpResponse:
    """What waits for a second person."""
    samples = sum(row.samples for row in at(Station.REVIEW))
    lead = f"{samples} samples wait for a second person’s look." if samples else "No sample waits for review."
    return listing(request, ReviewTable, ReviewFilter, reviewable(), title="Review", lead=lead, here=Station.REVIEW)


def review(request: HttpRequest, number: str) -> HttpResponse:
    """One submission as a matrix; the evidence for the cell in focus comes beside it, or without scripts alone."""
    cell = _key(request.GET.get("cell", ""))
    context = {"number": number, "has_code": has_second_factor(request.user), "may": acts_of(request)}
    if cell is not None and _wants_evidence_only(request):
        response = render(request, "labresults/review/evidence.html", context | _beside(number, cell))
    elif cell is not None and "alone" in request.GET:
        beside = _beside(number, cell) | {"here": Station.REVIEW}
        response = render(request, "labresults/review/alone.html", context | beside)
    else:
        page = review_page(number)
        shown = _shown(page, page.focus_of(cell), request.GET.get("part", ""))
        response = render(request, "labresults/review/review.html", context | shown)
    patch_vary_headers(response, ["HX-Request"])
    return response


@require_POST
def sign(request: HttpRequest, number: str) -> HttpResponse:
    """Sign what was decided: approved, refused and sent back, all with one signature."""
    form = SignForm(request.POST, page=review_page(number))
    done = partial(sign_review, by=request.user, at=timezone.now())
    return answer(
        request,
        form,
        lambda given: done(**{name: given[name] for name in SIGNED}),
        "Signed with your name. What was refused or sent back, the analyst reads with your reason.",
        reverse("review", args=[number]),
    )


@require_POST
def turn_down(request: HttpRequest, number: str) -> HttpResponse:
    """Refuse one result, or send it back, at once and with a signature of its own."""
    form = TurnDownForm(request.POST, results=standing_among(number, _keys(request, "results")))
    acts: dict[str, Any] = {
        "refuse": refuse_results,
        "runs": partial(send_back_results, to=Station.RUNS),
        "preparation": partial(send_back_results, to=Station.PREPARATION),
    }

    def done(given: dict[str, Any]) -> object:
        return acts[given.pop("decision")](by=request.user, at=timezone.now(), **given)

    return answer(request, form, done, "Done: the analyst reads your reason.", reverse("review", args=[number]))


@require_POST
def choose(request: HttpRequest, number: str) -> HttpResponse:
    """Let another measurement stand than the rule chose."""
    rows = measurements(number, _keys(request, "result"))
    form = SelectForm(request.POST, results=rows)
    done = partial(select_result, by=request.user, at=timezone.now())
    return answer(
        request,
        form,
        lambda given: done(result=rows[given["result"]], reason=given["reason"]),
        "This measurement stands now. It waits for review like any other.",
        _to_cell(request, number),
    )


@require_POST
def comment(request: HttpRequest, number: str) -> HttpResponse:
    """Remark something beside a result."""
    rows = measurements(number, _keys(request, "result"))
    form = CommentForm(request.POST, results=rows)
    done = partial(comment_result, by=request.user, at=timezone.now())
    return answer(
        request,
        form,
        lambda given: done(result=rows[given["result"]], text=given["text"]),
        "Your comment stands beside the result. It is not printed.",
        _to_cell(request, number),
    )


def _keys(request: HttpRequest, name: str) -> list[int]:
    """Keys that a form names."""
    return [key for written in request.POST.getlist(name) if (key := _key(written)) is not None]


def _to_cell(request: HttpRequest, number: str) -> str:
    return f"{reverse('review', args=[number])}?cell={_key(request.POST.get('result', '')) or ''}"


def _key(written: str) -> int | None:
    """A row's key as it was written in an address; None where it is none."""
    return int(written) if written.isascii() and written.isdigit() and len(written) < 19 else None


def _wants_evidence_only(request: HttpRequest) -> bool:
    return "HX-Request" in request.headers and "HX-History-Restore-Request" not in request.headers


def _shown(page: ReviewPage, focus: int | None, part: str) -> dict[str, object]:
    shown = page.part(part, focus)
    return {
        "page": page, "submission": page.submission, "part": shown, "focus": focus,
        "derived": columns_beside(page.request, page.columns, shown.rows), "wide": len(page.columns) > WIDE,
        "roomy": len(page.columns) <= ROOMY, "meanings": MEANINGS, "here": Station.REVIEW,
        "overrides": overrides_behind(page.submission),
    }  # fmt: skip


def _beside(number: str, cell: int) -> dict[str, object]:
    """What is shown of one cell."""
    found = evidence_of(number, cell)
    return {"evidence": found, "curve": curve_drawing(found), "history": history_drawing(found)}
