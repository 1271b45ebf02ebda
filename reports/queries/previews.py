"""A certificate before it exists: composed from what is approved now; nothing is stored."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from types import MappingProxyType
from typing import TYPE_CHECKING

from labresults.acts import WrongState
from labresults.queries.reportable import Reportable, reportable
from reports.changes import Place, explained
from reports.compose import compose
from reports.document import CertificateDocument
from reports.mandatory import missing_items
from reports.models import Certificate, RuleSetVersion
from reports.queries.change_reasons import derived_reasons
from reports.queries.facts import collect, in_words
from reports.queries.rule_sets import by_method
from reports.render.pdf import render_certificate
from reports.rules.ruleset import RuleSet

if TYPE_CHECKING:
    from labresults.models import Person, Submission

TO_COME = "?"
"""Stands for the number, the check code and the chain's head until they are given under the lock."""


def refuse_what_is_missing(document: CertificateDocument) -> None:
    """Refuse a certificate on which an item is empty that every certificate has (ISO/IEC 17025:2017, 7.8.2.1).

    Raises WrongState with a problem for each: its letter, and where it is entered.
    """
    missing = missing_items(document)
    if missing:
        raise WrongState(f"The certificate would not say all that it must. {' '.join(missing)}")


def preview(
    *,
    submission: "Submission",
    rule_set: RuleSetVersion,
    by: "Person",
    at: datetime,
    reason: str = "",
    preliminary: bool = False,
    replaces: Certificate | None = None,
    further: Sequence["Submission"] = (),
    reasons: Mapping[Place, str] = MappingProxyType({}),
    **_: object,
) -> tuple[CertificateDocument, Reportable]:
    """The certificate as it would be issued now, without number or head of the chain; about 25 queries.

    further: other submissions of the client, for a combined certificate; reasons: of changes, where a person gave one.
    Raises WrongState when something asked for is not approved yet and the certificate is not preliminary.
    """
    found = reportable(submission, further)
    if found.missing and not preliminary:
        more = f" and {len(found.missing) - 3} more" if len(found.missing) > 3 else ""
        raise WrongState(f"Not ready: {'; '.join(found.missing[:3])}{more}. Or issue it as preliminary.")
    if not found.results and not found.not_measured:
        raise WrongState("Nothing is approved yet: there is nothing to certify.")
    document = composed(
        found, rule_set=rule_set, by=by, at=at, reason=reason, preliminary=preliminary, replaces=replaces,
        rule_sets=by_method(submission, rule_set),
    )  # fmt: skip
    if replaces:
        document = explained(document, reasons, derived_reasons(document, replaces, found), reason)
    return document, found


def composed(
    found: Reportable,
    *,
    rule_set: RuleSetVersion,
    by: "Person",
    at: datetime,
    reason: str,
    preliminary: bool,
    replaces: Certificate | None,
    rule_sets: Mapping[str, RuleSet] = MappingProxyType({}),
) -> CertificateDocument:
    """The document of what was found, without number, check code and head of the chain; no query.

    rule_sets: of methods that are printed by others than `rule_set`, by code.
    """
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
    return compose(facts, RuleSet.from_json(rule_set.specification), previous, rule_sets)


def preview_pdf(
    *,
    submission: "Submission",
    rule_set: RuleSetVersion,
    by: "Person",
    at: datetime,
    preliminary: bool,
    replaces: Certificate | None = None,
    further: Sequence["Submission"] = (),
) -> bytes:
    """The preview drawn, marked so that nobody takes it for a certificate. Raises WrongState as `preview` does."""
    document, _ = preview(
        submission=submission,
        rule_set=rule_set,
        by=by,
        at=at,
        preliminary=preliminary,
        replaces=replaces,
        further=further,
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
