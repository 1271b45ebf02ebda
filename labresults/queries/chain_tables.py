"""The tables that a certificate stands on, each after those from which its keys are known.

A row belongs to the chain where a row that does refers to it, or where it hangs on one: on a root (the results that are
printed, their samples, submissions, evaluations and runs) or on a row that was found before. `NOT_IN_CHAIN` says why
other tables do not belong to it, `MAY_CHANGE` which columns are left out because work may rightly change them.
"""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Table:
    """One table: which of its fields hang on which keys, and whether its rows refer to others of its own."""

    label: str
    hangs_on: tuple[tuple[str, str], ...] = ()  # a field, and the name of a root or of a table before
    own_kind: bool = False


def _t(name: str, *hangs_on: tuple[str, str], own_kind: bool = False) -> Table:
    return Table(f"labresults.{name}", hangs_on, own_kind)


CHAIN = (
    _t("Result", ("pk", "results")),
    _t("Selection", ("result", "results")),
    _t("ReviewedResult", ("result", "results")),
    _t("Review"),
    _t("Calibration", ("evaluation", "evaluations")),
    _t("ControlOutcome", ("evaluation", "evaluations"), ("pk", "outcomes")),
    _t("Acceptance", ("outcome__evaluation", "evaluations"), ("outcome", "outcomes")),
    _t("Evaluation", ("pk", "evaluations")),
    _t("Reading", ("run", "runs")),
    _t("ReadingFile", ("run", "runs")),
    _t("LetStand", ("position__run", "runs")),
    _t("Position", ("run", "runs"), own_kind=True),
    _t("Run", ("pk", "runs")),
    _t("TestPortion", own_kind=True),
    _t("Weighing", ("portion", "TestPortion")),
    _t("FireCharge", ("portion", "TestPortion")),
    _t("DiscardedPortion", ("portion", "TestPortion"), ("replaced_by", "TestPortion")),
    _t("PreparationBatch"),
    _t("PreparationBatch_reagents", ("preparationbatch", "PreparationBatch")),
    _t("MassLoss", ("subsample__sample", "samples")),
    _t("Subsample", ("sample", "samples"), own_kind=True),
    _t("SampleCorrection", ("sample", "samples")),
    _t("NotMeasuredResult", ("sample", "samples")),
    _t("Request", ("submission", "submissions")),
    _t("RequestedMethod", ("request__submission", "submissions")),
    _t("RequestedTerms", ("request__submission", "submissions")),
    _t("RequestConcern", ("request__submission", "submissions")),
    _t("RequestedDerived", ("request__submission", "submissions")),
    _t("DerivedDefinition"),
    _t("SampleSet", ("submission", "submissions")),
    _t("SampleSetMember", ("sample_set__submission", "submissions")),
    _t("SamplingRecord", ("submission", "submissions")),
    _t("Opinion", ("submission", "submissions")),
    _t("Sample", ("pk", "samples")),
    _t("Submission", ("pk", "submissions")),
    _t("Client", ("submissions", "submissions")),
    _t("LimitSet"),
    _t("Limit", ("limit_set", "LimitSet")),
    _t("MethodVersion", ("pk", "versions")),
    _t("MethodVersion_matrices", ("methodversion", "MethodVersion")),
    _t("MethodLine", ("method_version", "MethodVersion")),
    _t("Determination", ("method_version", "MethodVersion")),
    _t("Criterion", ("method_version", "MethodVersion")),
    _t("PlannedStandard", ("method_version", "MethodVersion")),
    _t("PlannedControl", ("method_version", "MethodVersion")),
    _t("Method"),
    _t("Scope", ("method", "Method")),
    _t("Matrix"),
    _t("HoldingTime", ("matrix", "Matrix")),
    _t("Layout"),
    _t("Lot", own_kind=True),
    _t("Content", ("lot", "Lot")),
    _t("Override", ("lot", "Lot"), ("equipment", "Equipment")),
    _t("Material"),
    _t("EquipmentCheck", ("equipment", "Equipment")),
    _t("Equipment"),
    _t("Line"),
    _t("Element"),
    _t("Authorisation", ("person", "signers")),
    _t("Person", ("pk", "signers")),
    _t("Laboratory", ("pk", "laboratory")),
)

ROOTS_ONLY = frozenset({"Result", "Sample", "Submission", "Client"})
"""Rows of these belong to a certificate only where they are its own. Another client's sample, of which a duplicate in
the same run was taken, is left to the certificates that print it."""

MAY_CHANGE: Mapping[str, Mapping[str, str]] = {
    "Client": {
        "address": "a client moves; the certificate keeps what was printed",
        "contact": "people come and go; the certificate keeps what was printed",
        "email": "as the address",
        "kept_days": "an agreement for the store",
        "ore_grade_consent": "an agreement for what is asked next",
    },
    "Person": {
        "password": "changed by its owner",
        "last_login": "written at each sign-in",
        "session_round": "which sessions are over",
        "password_is_given": "over when its owner changes it",
        "is_active": "somebody left",
        "email": "as a telephone number",
    },
    "Laboratory": {"working_week": "another calendar from now on; no number stands on it"},
}
"""Columns that are not compared, each with its reason. A sample's corrections are: they are on record, and undone."""

NOT_IN_CHAIN: Mapping[str, str] = {
    "AuditEvent": "the audit chain itself: verify_audit walks it",
    "AccessToken": "how a program signs in",
    "AccessTokenEnd": "how a program signs in",
    "Attempt": "how a person signs in",
    "Attachment": "photographs and papers of a delivery; no number stands on them",
    "StoredFile": "as attachments: verify_attachments checks each by its SHA-256",
    "CalendarDay": "due dates",
    "CustodyEntry": "where a sample stood; no number stands on it",
    "InterferenceEstimate": "what a method version took up of it stands in its own lines",
    "LimitEstimate": "what a method version took up of it stands in its own lines",
    "NonconformingResult": "what was done after the certificate",
    "NonconformingStep": "what was done after the certificate",
    "NonconformingWork": "what was done after the certificate",
    "NumberSeries": "the next number; those given are unique by themselves",
    "PlausibilityRule": "asks a reviewer to look; no number stands on it",
    "ResultComment": "a remark that is not printed",
    "SecondFactor": "how a person signs in",
    "SecondFactorEnd": "how a person signs in",
    "RecoveryCode": "how a person signs in",
    "UsedCode": "how a person signs in",
    "UsedRecoveryCode": "how a person signs in",
    "UsualRequest": "what is proposed for the next delivery",
    "UsualRequest_methods": "what is proposed for the next delivery",
    "Person_groups": "roles of today; an act asked for them when it was done, and the audit trail says by whom",
    "Person_user_permissions": "none are given so",
}
"""Tables of labresults that no printed number stands on, each with the reason."""
