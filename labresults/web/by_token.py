"""Pages for programs: who asks is known by a word in the header, what is answered is JSON, refusals included."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ObjectDoesNotExist, RequestDataTooBig
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt

from labresults.acts import BadInput, NotAuthorised, Refusal, WrongState
from labresults.queries.access import token_of
from labresults.web.shared import is_staff

Answer = Callable[..., JsonResponse]

_STATUS = {NotAuthorised: 403, WrongState: 409, BadInput: 422}


def by_token(view: Answer) -> Answer:
    """Open a page to who sends `Authorization: Bearer <word>`; `request.user` is then the token's person.

    A session opens nothing here, so there is no form of another site that could be sent in somebody's name.
    """

    @wraps(view)
    def opened(request: HttpRequest, *args: Any, **named: Any) -> JsonResponse:
        scheme, _, word = request.headers.get("Authorization", "").partition(" ")
        token = token_of(word.strip() if scheme.lower() == "bearer" else "", timezone.localdate())
        if token is None:
            said = error("Send the header Authorization: Bearer, with a word that is open (page Access).", 401)
            said.headers["WWW-Authenticate"] = 'Bearer realm="labresults"'
            return said
        request.user = token.person
        if not is_staff(request):
            return error("This address is for people of the laboratory.", 403)
        return _answered(view, request, *args, **named)

    opened.guarded = True  # type: ignore[attr-defined]
    # A page of another site cannot send the header, and a session is not looked at: there is nothing to forge.
    return csrf_exempt(login_not_required(opened))


def error(what: str, status: int, problems: tuple[Any, ...] = ()) -> JsonResponse:
    """What went wrong, in words; each problem with its row and column. Nothing was changed."""
    body = {"error": what, "problems": [problem_said(problem) for problem in problems]}
    return JsonResponse(body, status=status)


def problem_said(problem: Any) -> dict[str, Any]:
    """A problem of a file as JSON has it."""
    names = ("file", "row", "column", "found", "expected", "what", "what_to_do")
    return {name: value for name in names if (value := getattr(problem, name, None)) not in (None, "")}


def _answered(view: Answer, request: HttpRequest, *args: Any, **named: Any) -> JsonResponse:
    try:
        return view(request, *args, **named)
    except Refusal as refusal:
        return error(str(refusal), _STATUS.get(type(refusal), 409), getattr(refusal, "problems", ()))
    except ObjectDoesNotExist as missing:
        return error(str(missing), 404)
    except RequestDataTooBig:
        return error("That is more than one body may hold. Send the file as a form (multipart/form-data).", 413)
