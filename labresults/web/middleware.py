"""What every answer carries."""

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from labresults.queries.people import site_time_zone

_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self';"
    " connect-src 'self';"
    " form-action 'self'; base-uri 'none'; frame-ancestors 'none'; object-src 'none'"
)

Answer = Callable[[HttpRequest], HttpResponse]


class ContentSecurityPolicy:
    """Nothing from elsewhere, nothing inline."""

    def __init__(self, answer: Answer) -> None:
        self.answer = answer

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.answer(request)
        response.headers.setdefault("Content-Security-Policy", _POLICY)
        return response


class SiteTimeZone:
    """Times are stored in UTC and shown in the laboratory's zone."""

    def __init__(self, answer: Answer) -> None:
        self.answer = answer

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with timezone.override(ZoneInfo(site_time_zone())):
            return self.answer(request)


class GivenPasswordFirst:
    """Whose password was given by somebody else changes it, or goes out: nothing else opens before that."""

    def __init__(self, answer: Answer) -> None:
        self.answer = answer

    def __call__(self, request: HttpRequest) -> HttpResponse:
        to = reverse("password")
        is_given = getattr(request.user, "password_is_given", False)
        if not is_given or request.path in {to, reverse("sign-out")}:
            return self.answer(request)
        if request.method not in {"GET", "HEAD"}:
            messages.warning(request, "Choose your own password first. What you sent just now was not kept.")
        if "HX-Request" in request.headers:  # a part of a page: the whole page goes there
            return HttpResponse(status=204, headers={"HX-Redirect": to})
        return redirect(to)
