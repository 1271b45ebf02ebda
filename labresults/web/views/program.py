"""What programs ask for and bring, by a token of a person (DEVELOPERS.md, "Bring readings by program")."""

from typing import Any

from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from labresults.actions.readings import import_readings
from labresults.queries import run_pages
from labresults.queries.program import run_said
from labresults.queries.run_imports import MOST_BYTES, matched_said, newest_layout, struck_said
from labresults.terms import WayIn
from labresults.web.by_token import by_token, error
from labresults.web.forms.readings import ProgramForm


@by_token
@require_GET
def run(request: HttpRequest, number: str) -> JsonResponse:
    """How a run stands, its run list, and the files that it has."""
    return JsonResponse(run_said(run_pages.find_run(number)))


@by_token
@require_POST
def readings(request: HttpRequest, number: str) -> JsonResponse:
    """A file of readings for a run: all of it is taken, or nothing, and every problem is in the answer."""
    if int(request.headers.get("Content-Length") or 0) > MOST_BYTES:
        return error(f"The file is larger than {MOST_BYTES // 10**6} MB.", 413)
    is_form = request.content_type == "multipart/form-data"  # else the body is the file, whatever it says that it is
    form = ProgramForm(request.POST, request.FILES) if is_form else ProgramForm(request.GET)
    if not form.is_valid():
        return error(form.said(), 422)
    given = form.cleaned_data
    file = import_readings(
        by=request.user,
        at=timezone.now(),
        reason=given["reason"],
        run=run_pages.find_run(number),
        layout=newest_layout(given["layout"]),
        struck=struck_said(form.several("strike")),
        matched=matched_said(form.several("match")),
        way=WayIn.PROGRAM,
        **_brought(request, given),
    )
    return JsonResponse({"run": number, "file": file.name, "sha256": file.sha256}, status=201)


def _brought(request: HttpRequest, given: dict[str, Any]) -> dict[str, Any]:
    """The bytes, their name and when they were measured: a file of a form, or the whole body."""
    file = given["file"]
    return {
        "content": file.read() if file else request.body,
        "filename": file.name if file else given["filename"],
        "measured_from": given["measured_from"],
        "measured_to": given["measured_to"],
    }
