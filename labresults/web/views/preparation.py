"""Preparation: what waits, and a batch begun with its control samples."""

import secrets
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from labresults.actions.batches import begin_batch
from labresults.queries import bench_waiting, preparation
from labresults.queries.bench_order import order_of_tubes
from labresults.queries.materials import who_may_override
from labresults.queries.sent_back import sent_back
from labresults.terms import Repeat, Station
from labresults.web.acting import attempt
from labresults.web.forms.preparation import MOST_SEED, BeginForm

MOST_SHOWN = 500
"""So many waiting samples are offered for one batch; the least urgent wait for the next one."""


def bench(request: HttpRequest) -> HttpResponse:
    """What waits for a batch by method, and the batches that lie on the bench."""
    at = timezone.localtime(timezone.now())
    batches = bench_waiting.open_batches()
    by_code = bench_waiting.batches_by_code(batches)
    groups = bench_waiting.groups_to_begin(at)
    context = {
        "title": "The bench",
        "here": "preparation",
        "groups": [(group, max(0, (at.date() - group.due_on).days), by_code.get(group.code, [])) for group in groups],
        "samples": bench_waiting.waiting_count() if groups else 0,
        "batches": batches,
        "day": at.date(),
        "sent_back": sent_back(Station.PREPARATION),
    }
    return render(request, "labresults/preparation.html", context)


def begin(request: HttpRequest, code: str) -> HttpResponse:
    """Begin a batch of a method: its samples, its reagents, its caution; what was scanned is put in first."""
    at = timezone.localtime(timezone.now())
    version = _version(code, at)
    waiting = list(bench_waiting.samples_to_begin(code, at)[:MOST_SHOWN])
    posted = request.POST.copy() if request.method == "POST" else None
    found = _put_in(request, posted, version, at) if posted and posted.get("scan") else None
    lots = preparation.usable_reagents(at.date())
    form = BeginForm(posted, waiting=waiting, lots=lots, initial=_at_first(request))
    if posted and not found and form.is_valid():
        batch = _begun(request, form, version)
        if batch is not None:
            return redirect("batch", batch.number)
    size = 0 if request.GET.get("again") else version.batch_size
    chosen = _chosen(posted, request.GET.getlist("with"), waiting, size)
    return render(request, "labresults/begin_batch.html", _context(form, version, waiting, chosen, found))


def scan(request: HttpRequest, code: str) -> HttpResponse:
    """What a scanned label is to a batch of this method, for the script of the page."""
    at = timezone.localtime(timezone.now())
    found = bench_waiting.scanned(request.GET.get("code", "").strip(), _version(code, at), at)
    link = f"{reverse('override')}?of={found.value}&next={reverse('begin-batch', args=[code])}"
    return JsonResponse(
        {
            "kind": found.kind,
            "value": found.value,
            "key": found.key,
            "words": found.words,
            "link": link if found.kind == "expired" else "",
        }
    )


def order(request: HttpRequest, code: str) -> HttpResponse:
    """The tubes of a batch with the samples that are ticked now, in their order."""
    version = _version(code, timezone.localtime(timezone.now()))
    seed = request.GET.get("seed", "")
    tubes = order_of_tubes(version, request.GET.getlist("samples")[:MOST_SHOWN], int(seed) if seed.isdecimal() else 0)
    return render(request, "labresults/batch_order.html", {"order": tubes, "version": version})


def _version(code: str, at: Any) -> Any:
    version = preparation.version_in_force(code, at.date())
    if version is None:
        raise Http404(f"No version of {code} is valid today.")
    return version


def _at_first(request: HttpRequest) -> dict[str, Any]:
    """A seed; and samples that a reviewer sent back (?again=, ?cause=), to be digested again."""
    seed = {"seed": secrets.randbelow(MOST_SEED)}
    again = request.GET.get("again", "")
    if not again:
        return seed
    return {**seed, "again": again, "repeat": Repeat.RE_DIGEST.value, "reason": request.GET.get("cause", "")}


def _context(form: BeginForm, version: Any, waiting: list[Any], chosen: list[str], found: Any) -> dict[str, Any]:
    seed = str(form["seed"].value())
    return {
        "form": form,
        "version": version,
        "waiting": [(row, row.number in chosen) for row in waiting],
        "order": order_of_tubes(version, chosen, int(seed) if seed.isdecimal() else 0),
        "found": found,
        "who_may": who_may_override(),
        "here": "preparation",
    }


def _chosen(posted: Any, asked: list[str], waiting: list[Any], size: int) -> list[str]:
    """Numbers of the samples that are ticked: those sent, else those asked for and the most urgent that may begin."""
    if posted is not None:
        sent = set(posted.getlist("samples"))
        return [row.number for row in waiting if row.number in sent]
    free = [row.number for row in waiting if not row.locked_until]
    first = sorted(free, key=lambda number: number not in asked)[:size]
    return [number for number in free if number in set(first)]


def _put_in(request: HttpRequest, posted: Any, version: Any, at: Any) -> Any:
    """Put a scanned sample or lot into what was sent, and say so; for browsers without scripts."""
    found = bench_waiting.scanned(posted["scan"].strip(), version, at)
    if found.kind == "sample":
        posted.appendlist("samples", found.value)
    if found.kind == "lot":
        posted.appendlist("reagents", str(found.key))
    (messages.info if found.kind in {"sample", "lot"} else messages.warning)(request, found.words)
    return found


def _begun(request: HttpRequest, form: BeginForm, version: Any) -> Any:
    """The batch, or None when it was refused; the page then says why and keeps what was chosen."""
    given = form.cleaned_data

    def done() -> Any:
        return begin_batch(
            by=request.user,
            at=timezone.now(),
            reason=given["reason"],
            method_version=version,
            samples=bench_waiting.samples_numbered(form.numbers()),
            caution_read=given["caution_read"],
            reagents=list(given["reagents"]),
            repeat=Repeat(given["repeat"]),
            seed=given["seed"],
        )

    return attempt(request, done, "{} is begun. Its control samples are put in.")
