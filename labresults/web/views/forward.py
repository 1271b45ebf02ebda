"""From one doubtful thing forward to the results that it touched, who has them, and a case of it."""

from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import render

from labresults.queries.forward import NotThere
from labresults.queries.forward_pages import TouchedPage, results_file, touched
from labresults.web.forms.nonconforming import DoubtForm, OpenForm, days_of
from labresults.web.shared import acts_of


def forward(request: HttpRequest) -> HttpResponse:
    """What a lot, a balance, a run or anything else touched."""
    form = DoubtForm(request.GET if "kind" in request.GET else None)
    page = _found(form, request.GET.get("page", ""))
    context = {"form": form, "page": page, "here": "nonconforming", "title": "What did this touch?"}
    if page:
        asked = days_of(page.doubt)
        context |= {"query": urlencode(asked), "hidden": asked.items()}
        if "open_nonconforming_work" in acts_of(request):
            context["open"] = OpenForm(initial={"hold": True, "seen": page.results})
    return render(request, "labresults/forward.html", context)


def forward_file(request: HttpRequest) -> HttpResponseBase:
    """The same, a row a result, as CSV."""
    form = DoubtForm(request.GET)
    if _found(form, "") is None:
        return forward(request)
    response = StreamingHttpResponse(results_file(form.doubt()), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="touched.csv"'
    return response


def _found(form: DoubtForm, page: str) -> TouchedPage | None:
    """What is found; what is not there becomes an error of the form."""
    if not form.is_valid():
        return None
    try:
        return touched(form.doubt(), page)
    except NotThere as error:
        form.add_error("name", str(error))
        return None
