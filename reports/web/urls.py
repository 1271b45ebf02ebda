"""One line a page; closed to everybody but the laboratory's people, unless the page says otherwise."""

from django.urls import URLPattern, path

from labresults.web.shared import guarded
from reports.web.views import certificates, paper

urlpatterns: list[URLPattern] = guarded(
    [
        path("certificates", certificates.certificates, name="certificates"),
        path("certificates/for/<str:number>", certificates.certify, name="certify"),
        path("certificates/for/<str:number>/preview.pdf", certificates.preview, name="certificate-preview"),
        path("certificates/<str:number>/<int:issue>", certificates.certificate, name="certificate"),
        path("certificates/<str:number>/<int:issue>/draw", certificates.draw, name="draw-certificate"),
        path("certificates/<str:number>/<int:issue>/amend", certificates.amend, name="amend-certificate"),
        path("certificates/<str:number>/<int:issue>/withdraw", certificates.withdraw, name="withdraw-certificate"),
        path("certificates/<str:number>/<int:issue>/file.<str:kind>", certificates.file, name="certificate-file"),
        path("submissions/<str:number>/receipt.pdf", paper.receipt, name="receipt"),
        path("submissions/<str:number>/labels.pdf", paper.labels, name="labels"),
    ]
)
