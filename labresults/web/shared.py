"""What every page of both apps stands on: who may see it, what a refusal looks like, how a list is shown."""

from collections.abc import Callable, Iterable
from functools import wraps
from typing import Any

from django.core.exceptions import ObjectDoesNotExist, PermissionDenied
from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern
from django_filters import FilterSet
from django_tables2 import LazyPaginator, RequestConfig, Table

from labresults.acts import NotAuthorised, Refusal
from labresults.queries.people import role_names
from labresults.roles import ROLES, STAFF

View = Callable[..., HttpResponse]


def roles_of(request: HttpRequest) -> list[str]:
    """Roles of the person who asks, in the order of the path; one query a request."""
    known: list[str] | None = getattr(request, "role_names", None)
    if known is None:
        known = role_names(request.user) if request.user.is_authenticated else []
        request.role_names = known  # type: ignore[attr-defined]
    return known


def is_staff(request: HttpRequest) -> bool:
    """Whether the person who asks belongs to the laboratory."""
    return bool(STAFF & set(roles_of(request)))


def acts_of(request: HttpRequest) -> frozenset[str]:
    """Names of the acts that the roles of the person who asks hold: what a page offers; the act itself decides."""
    return frozenset().union(*(ROLES.get(role, frozenset()) for role in roles_of(request)))


def for_clients(view: View) -> View:
    """Mark a page that a client's people may open too; it shows them their own client's rows only."""
    view.for_clients = True  # type: ignore[attr-defined]
    return view


def guarded(patterns: Iterable[URLPattern]) -> list[URLPattern]:
    """The same patterns, each page closed to everybody but the laboratory's people unless it says otherwise.

    A refusal of an act, and a number that is not there, become pages in words.
    """
    kept = list(patterns)
    for pattern in kept:
        pattern.callback = _guard(pattern.callback)
    return kept


def listing(
    request: HttpRequest,
    table: type[Table],
    filters: type[FilterSet],
    rows: QuerySet[Any],
    *,
    title: str,
    lead: str = "",
    here: str = "",
    acts: Iterable[tuple[str, str]] = (),
) -> HttpResponse:
    """A list with search, filters, sorting and pages of 50; it never counts all rows.

    here: station or shelf that the page belongs to. acts: words and address of each button.
    """
    chosen = filters(request.GET, queryset=rows, request=request)
    shown = table(chosen.qs)
    RequestConfig(request, paginate={"per_page": 50, "paginator_class": LazyPaginator}).configure(shown)
    context = {"table": shown, "filter": chosen, "title": title, "lead": lead, "here": here, "acts": acts}
    return render(request, "labresults/list.html", context)


def parts(rows: QuerySet[Any], asked: str | None, per_page: int) -> Page[Any]:
    """The page of rows that was asked for, the nearest where there is none such; it counts the rows."""
    return Paginator(rows, per_page).get_page(asked)


def refused(request: HttpRequest, refusal: Refusal) -> HttpResponse:
    """A page that says what was refused and why; nothing was changed."""
    status = 403 if isinstance(refusal, NotAuthorised) else 409
    problems = getattr(refusal, "problems", ())
    return render(request, "labresults/refused.html", {"refusal": refusal, "problems": problems}, status=status)


def _guard(view: View) -> View:
    if not getattr(view, "login_required", True):
        return view  # sign-in and what needs no account

    @wraps(view)
    def opened(request: HttpRequest, *args: Any, **named: Any) -> HttpResponse:
        if not is_staff(request) and not (getattr(view, "for_clients", False) and "client" in roles_of(request)):
            raise PermissionDenied("This page is for people of the laboratory.")
        try:
            return view(request, *args, **named)
        except Refusal as refusal:
            return refused(request, refusal)
        except ObjectDoesNotExist as missing:
            raise Http404(str(missing)) from missing

    opened.guarded = True  # type: ignore[attr-defined]
    return opened
