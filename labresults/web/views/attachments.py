"""Photographs and documents of a delivery: attached, and handed out again as data and never as a page."""

from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_GET, require_POST

from labresults.actions.attachments import attach_file
from labresults.queries import attachments, samples
from labresults.web.acting import attempt, say_errors
from labresults.web.forms.attachments import AttachForm

INLINE = frozenset({"image/jpeg", "image/png", "image/webp"})
"""What a browser may show itself; everything else is saved."""


@require_POST
def attach(request: HttpRequest, number: str) -> HttpResponse:
    """Attach files to a submission."""
    _attach(request, partial(attach_file, submission=samples.submission(number)))
    return redirect(f"{reverse('submission', args=[number])}#attachments")


@require_POST
def attach_to_sample(request: HttpRequest, number: str) -> HttpResponse:
    """Attach files to one sample."""
    item = samples.sample(number)
    _attach(request, partial(attach_file, submission=item.submission, sample=item))
    return redirect(f"{reverse('sample', args=[number])}#attachments")


@require_GET
def attachment(request: HttpRequest, pk: int) -> HttpResponse:
    """The bytes as they were attached: an image to look at, anything else to save; without scripts in any case."""
    row = attachments.attachment(pk)
    content = attachments.content_of(row.file)
    image = row.file.media_type in INLINE
    response = HttpResponse(content, content_type=row.file.media_type)
    response["Content-Disposition"] = content_disposition_header(not image, row.name) or "attachment"
    response["Content-Security-Policy"] = "sandbox; default-src 'none'"
    response["X-Content-Type-Options"] = "nosniff"
    response["Cross-Origin-Resource-Policy"] = "same-origin"
    response["Cache-Control"] = "private, no-cache"
    response["ETag"] = f'"{row.file.sha256}"'
    return get_conditional_response(request, etag=response["ETag"], response=response) or response


def _attach(request: HttpRequest, done: Any) -> None:
    form = AttachForm(request.POST, request.FILES)
    if not form.is_valid():
        say_errors(request, form)
    elif not form.uploads():
        messages.error(request, "No file was chosen, so nothing was attached.")
    else:
        for upload in form.uploads():
            act = partial(done, by=request.user, at=timezone.now(), name=upload.name, words=form.cleaned_data["words"])
            attempt(request, lambda act=act, upload=upload: act(content=upload.read()), f"{upload.name} is attached.")
