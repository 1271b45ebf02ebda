"""Lists: one line of what, one of how it is narrowed and shown."""

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from labresults.queries import lists
from labresults.web.filters.materials import EquipmentFilter, LotFilter
from labresults.web.filters.methods import MethodFilter
from labresults.web.filters.people import PersonFilter
from labresults.web.filters.samples import ClientFilter, SampleFilter, SubmissionFilter
from labresults.web.shared import acts_of, listing
from labresults.web.tables.materials import EquipmentTable, LotTable
from labresults.web.tables.methods import MethodTable
from labresults.web.tables.people import PersonTable
from labresults.web.tables.samples import ClientTable, SampleTable, SubmissionTable


def submissions(request: HttpRequest) -> HttpResponse:
    """Every delivery."""
    acts = [("Log a delivery", reverse("reception"))]
    rows = lists.submissions()
    return listing(request, SubmissionTable, SubmissionFilter, rows, title="Submissions", here="submissions", acts=acts)


def samples(request: HttpRequest) -> HttpResponse:
    """Every sample."""
    return listing(request, SampleTable, SampleFilter, lists.samples(), title="Samples", here="samples")


def methods(request: HttpRequest) -> HttpResponse:
    """Every method with its newest version."""
    acts = [("Layouts of files", reverse("layouts")), ("Holding times", reverse("holding-times")),
            ("Limits", reverse("limit-sets")), ("Derived results", reverse("derived-results"))]  # fmt: skip
    return listing(request, MethodTable, MethodFilter, lists.methods(), title="Methods", here="methods", acts=acts)


def lots(request: HttpRequest) -> HttpResponse:
    """Every lot of a standard, reference material or reagent."""
    return listing(request, LotTable, LotFilter, lists.lots(), title="Standards and lots", here="lots")


def equipment(request: HttpRequest) -> HttpResponse:
    """Everything that must be checked again and again."""
    rows = lists.equipment()
    return listing(request, EquipmentTable, EquipmentFilter, rows, title="Balances and instruments", here="equipment")


def clients(request: HttpRequest) -> HttpResponse:
    """Every client."""
    return listing(request, ClientTable, ClientFilter, lists.clients(), title="Clients", here="clients")


def people(request: HttpRequest) -> HttpResponse:
    """Everybody who can sign in."""
    acts = [("Access for programs", reverse("access"))]
    if "give_new_password" in acts_of(request):
        acts.append(("A new password for somebody", reverse("new-password")))
    return listing(request, PersonTable, PersonFilter, lists.people(), title="People", here="people", acts=acts)
