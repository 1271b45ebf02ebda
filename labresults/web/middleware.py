"""What every answer carries."""

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
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
