"""One line a page. `guarded` closes each to everybody but the laboratory's people, unless the page says otherwise."""

from django.urls import URLPattern, path

from labresults.web.shared import guarded
from labresults.web.views import (
    account,
    audit,
    lists,
    preparation,
    reception,
    review,
    runs,
    samples,
    shelf,
    today,
    trace,
)

urlpatterns: list[URLPattern] = guarded(
    [
        path("", today.today, name="today"),
        path("sign-in", account.sign_in, name="sign-in"),
        path("sign-out", account.sign_out, name="sign-out"),
        path("my-submissions", samples.my_submissions, name="my-submissions"),
        path("find", lists.find, name="find"),
        path("submissions", lists.submissions, name="submissions"),
        path("submissions/<str:number>", samples.submission, name="submission"),
        path("samples", lists.samples, name="samples"),
        path("samples/<str:number>", samples.sample, name="sample"),
        path("reception", reception.reception, name="reception"),
        path("preparation", preparation.preparation, name="preparation"),
        path("preparation/begin/<str:code>", preparation.begin, name="begin-batch"),
        path("preparation/<str:number>", preparation.batch, name="batch"),
        path("methods", lists.methods, name="methods"),
        path("methods/<str:code>", shelf.method, name="method"),
        path("lots", lists.lots, name="lots"),
        path("lots/<str:number>", shelf.lot, name="lot"),
        path("equipment", lists.equipment, name="equipment"),
        path("equipment/<str:code>", shelf.equipment_item, name="equipment-item"),
        path("clients", lists.clients, name="clients"),
        path("people", lists.people, name="people"),
        path("audit", audit.audit, name="audit"),
        path("audit/<int:seq>", audit.audit_event, name="audit-event"),
        path("runs", runs.runs, name="runs"),
        path("runs/plan", runs.plan_run, name="plan-run"),
        path("runs/<str:number>", runs.run, name="run"),
        path("runs/<str:number>/list.csv", runs.run_list, name="run-list"),
        path("runs/<str:number>/readings", runs.import_readings, name="import-readings"),
        path("runs/<str:number>/evaluate", runs.evaluate, name="evaluate-run"),
        path("runs/<str:number>/accept", runs.accept, name="accept-control"),
        path("review", review.reviews, name="reviews"),
        path("review/<str:number>", review.review, name="review"),
        path("review/<str:number>/approve", review.approve, name="approve"),
        path("review/<str:number>/turn-down", review.turn_down, name="turn-down"),
        path("review/<str:number>/choose", review.choose, name="choose-result"),
        path("results/<int:pk>", trace.trace, name="trace"),
    ]
)
