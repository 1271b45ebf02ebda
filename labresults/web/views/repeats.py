"""What waits to be measured again, over all runs; what is let stand by name."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from labresults.actions.evaluation import let_stand as let_it_stand
from labresults.queries.repeat_groups import by_method
from labresults.queries.repeats import open_of_run, open_repeats
from labresults.queries.sent_back import sent_back
from labresults.terms import Station
from labresults.web.acting import answer
from labresults.web.forms.runs import LetStandForm
from labresults.web.shared import acts_of

MOST_ROWS = 100
"""Rows of a method beside the others; a method by itself is shown whole."""


def repeats(request: HttpRequest) -> HttpResponse:
    """Everything that is proposed to be measured again and that no later run holds, by method."""
    code = request.GET.get("method", "")
    found = open_repeats(code or None)
    most = None if code else MOST_ROWS
    methods = [(name, groups[:most], len(groups)) for name, groups in by_method(found).items()]
    context = {"methods": methods, "code": code, "total": len(found), "here": Station.RUNS}
    context["sent_back"] = sent_back(Station.RUNS, code or None)
    return render(
        request, "labresults/runs/repeats.html", context | {"title": "To measure again", "may": acts_of(request)}
    )


@require_POST
def let_stand(request: HttpRequest, number: str) -> HttpResponse:
    """Do not measure proposed repeats of a run, by name and with the reason."""
    found = {repeat.key: repeat for repeat in open_of_run(number)}
    form = LetStandForm(request.POST, keys=list(found))
    done = partial(let_it_stand, by=request.user, at=timezone.now())
    return answer(
        request,
        form,
        lambda given: done(reason=given["reason"], places=[p for key in given["repeats"] for p in found[key].places]),
        "Let stand, with your name. The results keep their marks.",
        f"{reverse('run', args=[number])}#again",
    )
