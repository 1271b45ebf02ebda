"""Joins the two apps by name only."""

from django.urls import include, path

urlpatterns = [
    path("", include("labresults.web.urls")),
    path("", include("reports.web.urls")),
]
