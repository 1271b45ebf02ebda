"""A certificate before it exists: composed from what is approved now; nothing is stored."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from types import MappingProxyType
from typing import TYPE_CHECKING

from labresults.acts import WrongState
from labresults.calculation.errors import UnknownCompound
from labresults.garbage import collecting_later
from labresults.queries.readiness import unlike_forms
from labresults.queries.reportable import Reportable, reportable
from reports.changes import Place, explained
from reports.compose import Incomplete, compose
from reports.document import CertificateDocument
from reports.mandatory import missing_items
from reports.models import Certificate, RuleSetVersion
from reports.printed import WrongBasis
from reports.queries.change_reasons import derived_reasons
from reports.queries.facts import collect, in_words
from reports.queries.rule_sets import by_method, methods_of, rules_of_document
from reports.render.pdf import render_certificate
from reports.rules.forms import NoForm
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


@collecting_later()
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
    Raises WrongState when something asked for is not approved yet and the certificate is not preliminary, and where
    the rules ask for what a result cannot give.
    """
    found = reportable(submission, further)
    if found.missing and not preliminary:
        more = f" and {len(found.missing) - 3} more" if len(found.missing) > 3 else ""
        raise WrongState(f"Not ready: {'; '.join(found.missing[:3])}{more}. Or issue it as preliminary.")
    _refuse_two_versions(found)
    if unlike := unlike_forms(found.results.values()):
        raise WrongState(f"{unlike[0]}.")
    if not found.results and not found.not_measured:
        raise WrongState("Nothing is approved yet: there is nothing to certify.")
    try:
        document = composed(
            found, rule_set=rule_set, by=by, at=at, reason=reason, preliminary=preliminary, replaces=replaces,
            rule_sets=_rules_of_methods(found, rule_set, replaces),
        )  # fmt: skip
    except (WrongBasis, NoForm, UnknownCompound, Incomplete) as problem:
        raise WrongState(str(problem)) from problem
    if replaces:
        document = explained(document, reasons, derived_reasons(document, replaces, found), reason)
    return document, found


def _rules_of_methods(
    found: Reportable, rule_set: RuleSetVersion, replaces: Certificate | None
) -> Mapping[str, RuleSet]:
    """The rules of single methods, by code: those that stand, and of an amendment by its own rules those it had.

    A method that the issue before had not has those that stand. At most three queries.
    """
    if replaces is None or replaces.rule_set_id != rule_set.pk:
        return by_method(found.submission, rule_set)
    before = CertificateDocument.from_json(replaces.document)
    own = rules_of_document(before)[1] if any(column.rule_set for column in before.columns) else {}
    printed = methods_of(before)
    if all(version.method.code in printed for version in found.method_versions):
        return own
    standing = by_method(found.submission, rule_set)
    return {method: rules for method, rules in standing.items() if method not in printed} | own


def _refuse_two_versions(found: Reportable) -> None:
    """A derived result has one column and one explanation: of two versions one of them would be untrue.

    Raises WrongState naming the versions, and where each is asked for.
    """
    numbers = {of.pk: of.number for of in found.submissions}
    asked: dict[str, dict[str, str]] = {}
    for one in found.derived:
        place = one.sample or one.sample_set
        if place is not None:
            asked.setdefault(one.row.code, {})[str(one.row)] = numbers[place.submission_id]
    for code, versions in asked.items():
        if len(versions) > 1:
            said = " and ".join(f"{version} with {number}" for version, number in versions.items())
            raise WrongState(f"Of {code} two versions are asked for: {said}. Change one of the requests first.")


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
