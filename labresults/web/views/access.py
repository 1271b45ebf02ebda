"""Access for programs: words by which they sign in, shown once, ended when they are not needed any more."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from labresults.actions.access import end_access_token, issue_access_token
from labresults.queries.access import may_end_all, token, tokens_shown_to
from labresults.web.acting import answer, attempt
from labresults.web.forms.access import EndForm, IssueForm


@never_cache
def access(request: HttpRequest) -> HttpResponse:
    """The person's own words, or everybody's for who may end them; a new one is shown this once."""
    form = IssueForm(request.POST or None)
    issued = None
    if request.method == "POST" and form.is_valid():
        done = partial(issue_access_token, by=request.user, at=timezone.now(), **form.cleaned_data)
        issued = attempt(request, done, "The word for {} is made.")
    context = {
        "form": form,
        "issued": issued,
        "tokens": tokens_shown_to(request.user),
        "of_all": may_end_all(request.user),
        "today": timezone.localdate(),
        "here": "people",
    }
    return render(request, "labresults/access.html", context)


@require_POST
def end(request: HttpRequest, key: int) -> HttpResponse:
    """End a word: from now on it opens nothing."""
    of = token(request.user, key)

    def act(given: dict[str, str]) -> object:
        return end_access_token(by=request.user, at=timezone.now(), token=of, **given)

    return answer(request, EndForm(request.POST), act, f"The word for {of} opens nothing any more.", "access")
