"""One line a page; closed to everybody but the laboratory's people, unless the page says otherwise."""

from django.urls import URLPattern, path

from labresults.web.shared import guarded
from reports.web.views import (
    amendments,
    certificates,
    delivery,
    derived,
    labels,
    nonconforming,
    paper,
    portal,
    rule_sets,
    trace,
    verify,
)

urlpatterns: list[URLPattern] = guarded(
    [
        path("v", verify.verify, name="verify"),
        path("clients/<str:code>", delivery.client, name="client"),
        path("clients/<str:code>/layouts", delivery.save_layout, name="save-delivery-layout"),
        path("clients/<str:code>/layouts/look", delivery.look, name="look-at-layout"),
        path("clients/<str:code>/recipients", delivery.save_recipient, name="save-recipient"),
        path("certificates/<str:number>/<int:issue>/as/<str:name>", delivery.laid_out, name="laid-out"),
        path("v/keys.pem", verify.public_keys, name="public-keys"),
        path("v/<str:code>", verify.verify_code, name="verify-code"),
        path("certificates", certificates.certificates, name="certificates"),
        path("reporting-rules", rule_sets.rule_sets, name="rule-sets"),
        path("reporting-rules/choose", rule_sets.choose, name="choose-rule-set"),
        path("reporting-rules/<str:name>", rule_sets.rule_set, name="rule-set"),
        path("reporting-rules/<str:name>/strings", rule_sets.strings, name="rule-strings"),
        path("certificates/for/<str:number>", certificates.certify, name="certify"),
        path("certificates/for/<str:number>/printing", rule_sets.printing, name="printing"),
        path("certificates/for/<str:number>/preview.pdf", certificates.preview, name="certificate-preview"),
        path("certificates/<str:number>/<int:issue>", certificates.certificate, name="certificate"),
        path("nonconforming/<str:number>/tell", nonconforming.tell_clients, name="nonconforming-tell"),
        path("certificates/amend", amendments.amend_many, name="amend-certificates"),
        path("certificates/<str:number>/<int:issue>/draw", certificates.draw, name="draw-certificate"),
        path("certificates/<str:number>/<int:issue>/progress", certificates.progress, name="certificate-progress"),
        path("certificates/<str:number>/<int:issue>/amend", amendments.amend, name="amend-certificate"),
        path("certificates/<str:number>/<int:issue>/changes", amendments.changes, name="amendment-changes"),
        path("certificates/<str:number>/<int:issue>/withdraw", amendments.withdraw, name="withdraw-certificate"),
        path("certificates/<str:number>/<int:issue>/notify", amendments.notify, name="notify-client"),
        path("certificates/<str:number>/<int:issue>/file.<str:kind>", portal.file, name="certificate-file"),
        path("my-submissions", portal.my_submissions, name="my-submissions"),
        path("my-submissions/<str:number>", portal.my_submission, name="my-submission"),
        path("my-certificates", portal.my_certificates, name="my-certificates"),
        path("my-certificates/<str:number>/<int:issue>", portal.my_certificate, name="my-certificate"),
        path("certificates/<str:number>/<int:issue>/computed", derived.derived_printed, name="derived-printed"),
        path("certificates/<str:number>/<int:issue>/printed", trace.printed, name="printed-trace"),
        path("results/<int:pk>/trace.<str:kind>", trace.trace_file, name="trace-file"),
        path("results/derived/<int:pk>", derived.derived_trace, name="derived-trace"),
        path("submissions/<str:number>/receipt.pdf", paper.receipt, name="receipt"),
        path("submissions/<str:number>/labels", labels.labels, name="labels"),
        path("submissions/<str:number>/labels.pdf", labels.labels_file, name="labels-file"),
        path("runs/<str:number>/report.pdf", paper.run_report, name="run-report"),
        path("preparation/<str:number>/bench-sheet.pdf", paper.bench_sheet, name="bench-sheet"),
        path("preparation/<str:number>/labels", labels.batch_labels, name="batch-labels"),
        path("preparation/<str:number>/labels.pdf", labels.batch_labels_file, name="batch-labels-file"),
    ]
)
