"""Every page of labresults.web that only shows something, with an address that leads to it."""

from django.urls import reverse

from labresults.models import AuditEvent, PreparationBatch, Run, Sample, Submission
from reports.models import CertificateLine
from tests.builders import Laboratory, a_certificate, a_derived, a_submission, an_evaluated_run, approved


def a_busy_laboratory(lab: Laboratory) -> None:
    """One submission on a certificate, one measured, one just received."""
    first = a_submission(lab, 2, names=["first a", "first b"], derived=[a_derived(lab)])
    an_evaluated_run(lab, first)
    approved(lab, first)
    a_certificate(lab, first, draw=False)
    an_evaluated_run(lab, a_submission(lab, 2, names=["second a", "second b"]))
    a_submission(lab, 3, names=["third a", "third b", "third c"])


def addresses() -> dict[str, str]:
    """Address by page; call it when there is a submission and a batch."""
    submission = Submission.objects.earliest("pk").number
    arguments: dict[str, tuple[object, ...]] = {
        "today": (),
        "find": (),
        "find-as-typed": (),
        "submissions": (),
        "submission": (submission,),
        "change-request": (submission,),
        "sample-sets": (submission,),
        "derived-of-sample": (Sample.objects.earliest("pk").number,),
        "derived-results": (),
        "derived-result": ("metals",),
        "add-sample": (submission,),
        "samples": (),
        "sample": (Sample.objects.earliest("pk").number,),
        "correct-sample": (Sample.objects.earliest("pk").number,),
        "custody": (),
        "reception": (),
        "reception-asked": (),
        "reception-logged": ("no-such-form",),
        "reviews": (),
        "review": (submission,),
        "runs": (),
        "plan-run": (),
        "repeats": (),
        "import-readings": (Run.objects.earliest("pk").number,),
        "layouts": (),
        "new-layout": (),
        "layout": ("long",),
        "access": (),
        "derived-trace": (CertificateLine.objects.filter(derived__isnull=False).earliest("pk").pk,),
        "certificates": (),
        "client": ("ridge",),
        "verify": (),
        "certificate": ("C26-0001", 1),
        "certificate-progress": ("C26-0001", 1),
        "amend-certificate": ("C26-0001", 1),
        "amendment-changes": ("C26-0001", 1),
        "amend-certificates": (),
        "labels": (submission,),
        "batch-labels": (PreparationBatch.objects.earliest("pk").number,),
        "preparation": (),
        "begin-batch": ("AR-7",),
        "override": (),
        "batch": (PreparationBatch.objects.earliest("pk").number,),
        "mass-losses": (),
        "fire": (PreparationBatch.objects.earliest("pk").number,),
        "methods": (),
        "holding-times": (),
        "limit-sets": (),
        "scope": ("AR-7",),
        "sampling": (submission,),
        "opinion": (submission,),
        "rule-sets": (),
        "rule-set": ("R2",),
        "printing": (submission,),
        "plausibility": (),
        "exceptions": (),
        "second-factor": (),
        "password": (),
        "method": ("AR-7",),
        "method-limits": ("AR-7",),
        "method-interferences": ("AR-7",),
        "method-precision": ("AR-7",),
        "lots": (),
        "lot": ("L-2200",),
        "equipment": (),
        "equipment-item": ("B2",),
        "clients": (),
        "people": (),
        "new-password": (),
        "calendar": (),
        "forward": (),
        "nonconforming": (),
        "audit": (),
        "audit-event": (AuditEvent.objects.count(),),
    }
    return {page: reverse(page, args=args) for page, args in arguments.items()}
