"""One line a page; closed to everybody but the laboratory's people, unless the page says otherwise."""

from django.urls import URLPattern, path

from labresults.web.shared import guarded
from reports.web.views import certificates, labels, paper

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
        path("submissions/<str:number>/labels", labels.labels, name="labels"),
        path("submissions/<str:number>/labels.pdf", labels.labels_file, name="labels-file"),
        path("runs/<str:number>/report.pdf", paper.run_report, name="run-report"),
        path("preparation/<str:number>/bench-sheet.pdf", paper.bench_sheet, name="bench-sheet"),
        path("preparation/<str:number>/labels", labels.batch_labels, name="batch-labels"),
        path("preparation/<str:number>/labels.pdf", labels.batch_labels_file, name="batch-labels-file"),
    ]
)
