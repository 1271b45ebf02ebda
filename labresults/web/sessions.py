"""Sessions end: after a while without a request, and after a working day at the latest.

NIST SP 800-63B (2017), 4.2.3: to be asked again after 30 minutes without activity, and after 12 hours in any case. When
somebody was seen last is kept in the session, and written a few times an hour only.
"""

from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import SESSION_KEY
from django.contrib.auth.signals import user_logged_in
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

Answer = Callable[[HttpRequest], HttpResponse]

_TIMES = "began-and-seen"
WRITTEN_EACH_S = 180
ENDED = "You were signed out, since nothing was asked for {minutes} minutes. Sign in, and go on where you were."
LONG = "You were signed out after {hours} hours. Sign in, and go on where you were."
NOT_KEPT = " What you sent just now was not kept: look at it, and send it again."


class SessionsEnd:
    """Stands behind the messages, so that it can say why; in front of whatever asks who it is."""

    def __init__(self, answer: Answer) -> None:
        self.answer = answer

    def __call__(self, request: HttpRequest) -> HttpResponse:
        why = _ended(request)
        if not why:
            return _for_part(request, self.answer(request))
        request.session.flush()
        if request.method in {"GET", "HEAD"}:
            messages.warning(request, why)
            return _for_part(request, self.answer(request))
        messages.warning(request, why + NOT_KEPT)
        return _for_part(request, redirect_to_login(_from_page(request)))


def began(sender: object, request: HttpRequest, **_: Any) -> None:
    """Somebody signed in: the session's two times begin."""
    now = timezone.now().timestamp()
    request.session[_TIMES] = [now, now]


user_logged_in.connect(began, dispatch_uid="labresults.session_began")


def _ended(request: HttpRequest) -> str:
    """Why the session is over, in words; "" where it goes on, which is noted, or where nobody is signed in."""
    if SESSION_KEY not in request.session:
        return ""
    now = timezone.now().timestamp()
    since, seen = request.session.get(_TIMES, [now, now])
    if now - seen > settings.IDLE_MINUTES * 60:
        return ENDED.format(minutes=settings.IDLE_MINUTES)
    if now - since > settings.SESSION_COOKIE_AGE:
        return LONG.format(hours=settings.SESSION_COOKIE_AGE // 3600)
    if now - seen > WRITTEN_EACH_S or _TIMES not in request.session:
        request.session[_TIMES] = [since, now]
    return ""


def _from_page(request: HttpRequest) -> str:
    """The page that something was sent from, to go back to; Today where it is not known, or not of this site."""
    page = urlsplit(request.headers.get("HX-Current-URL") or request.headers.get("Referer", ""))
    return page._replace(scheme="", netloc="").geturl() if page.netloc == request.get_host() else reverse("today")


def _for_part(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """A part of a page is not answered with the page to sign in: the whole page goes there."""
    to = response.headers.get("Location", "")
    if "HX-Request" not in request.headers or response.status_code != 302 or not to.startswith(reverse("sign-in")):
        return response
    whole = HttpResponse(status=204)
    whole.headers["HX-Redirect"] = redirect_to_login(_from_page(request)).headers["Location"]
    return whole
