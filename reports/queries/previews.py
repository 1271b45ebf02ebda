"""A certificate before it exists: composed from what is approved now; nothing is stored."""

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from labresults.acts import WrongState
from labresults.queries.reportable import Reportable, reportable
from reports.compose import compose
from reports.document import CertificateDocument
from reports.models import Certificate, RuleSetVersion
from reports.queries.facts import collect, in_words
from reports.render.pdf import render_certificate
from reports.rules.ruleset import RuleSet

if TYPE_CHECKING:
    from labresults.models import Person, Submission

TO_COME = "?"
"""Stands for the number, the check code and the chain's head until they are given under the lock."""


def preview(
    *,
    submission: "Submission",
    rule_set: RuleSetVersion,
    by: "Person",
    at: datetime,
    reason: str = "",
    preliminary: bool = False,
    replaces: Certificate | None = None,
    **_: object,
) -> tuple[CertificateDocument, Reportable]:
    """The certificate as it would be issued now, without number or head of the chain; about 20 queries.

    Raises WrongState when something asked for is not approved yet and the certificate is not preliminary.
    """
    found = reportable(submission)
    if found.missing and not preliminary:
        more = f" and {len(found.missing) - 3} more" if len(found.missing) > 3 else ""
        raise WrongState(f"Not ready: {'; '.join(found.missing[:3])}{more}. Or issue it as preliminary.")
    if not found.results and not found.not_measured:
        raise WrongState("Nothing is approved yet: there is nothing to certify.")
    facts = collect(
        found,
        number=TO_COME,
        issue=replaces.issue + 1 if replaces else 1,
        issuer=str(by),
        at=at,
        chain_head=TO_COME,
        check_code=TO_COME,
        replaces=f"{replaces}, of {in_words(replaces.made_at.date())}" if replaces else "",
        reason=reason if replaces else "",
        preliminary=preliminary,
    )
    previous = CertificateDocument.from_json(replaces.document) if replaces else None
    return compose(facts, RuleSet.from_json(rule_set.specification), previous), found


def preview_pdf(
    *,
    submission: "Submission",
    rule_set: RuleSetVersion,
    by: "Person",
    at: datetime,
    preliminary: bool,
    replaces: Certificate | None = None,
) -> bytes:
    """The preview drawn, marked so that nobody takes it for a certificate. Raises WrongState as `preview` does."""
    document, _ = preview(
        submission=submission,
        rule_set=rule_set,
        by=by,
        at=at,
        preliminary=preliminary,
        replaces=replaces,
        reason="(the reason stands here)",
    )
    return render_certificate(
        replace(
            document,
            title="Preview, not a certificate",
            number="PREVIEW",
            check_code="not issued",
            chain_head="not issued",
        )
    )
