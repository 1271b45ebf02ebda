"""Rows taken away, slipped in or forged are named; what work rightly changes is not; numbers differ by their names."""

from collections.abc import Callable
from datetime import date
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from labresults import guards
from labresults.actions.batches import add_reagents
from labresults.actions.calendar import set_working_week
from labresults.actions.corrections import correct_identification, move_sample, strike_sample
from labresults.actions.evaluation import evaluate_run
from labresults.actions.materials import record_equipment_check
from labresults.actions.requests import change_request
from labresults.models import Lot, PreparationBatch, Run
from labresults.queries.chain_rows import DIGEST_BYTES
from labresults.terms import Basis, DayPart
from reports.actions.certificates import amend_certificate, withdraw_certificate
from reports.models import Certificate
from reports.queries.evidence import as_rows, unpacked
from tests.builders import Laboratory, a_certificate, a_submission, an_evaluated_run, approved
from tests.journeys.tampering.altering import named_by_a_proof


@pytest.fixture
def certificate(lab: Laboratory) -> Certificate:
    submission = a_submission(lab, 2)
    an_evaluated_run(lab, submission)
    return a_certificate(lab, approved(lab, submission))


def done(statement: str, *values: object) -> None:
    """By SQL, past the guards. What PostgreSQL would check later is checked first, else no table can be altered."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("set constraints all immediate")
        guards.remove(connection)
        cursor.execute(statement, values)


def said(command: str, *words: str, **options: object) -> str:
    """What a command prints, or refuses with."""
    out = StringIO()
    try:
        call_command(command, *words, stdout=out, **options)
    except CommandError as error:
        return str(error)
    return out.getvalue()


def withdrawn(lab: Laboratory, certificate: Certificate) -> None:
    withdraw_certificate(by=lab.people["issuer"], at=lab.later(), reason="wrong client", certificate=certificate)


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("delete from labresults_reading where id = (select max(id) from labresults_reading)", "is gone"),
        ("delete from reports_withdrawal", "its withdrawal is gone"),
        ("update reports_withdrawal set reason = 'another'", "its withdrawal is not the one of event"),
        ("delete from reports_certificatefile where kind = 'xlsx'", "its files are not those of event"),
        ("delete from reports_certificateevidence where \"table\" = 'labresults.Weighing'", "its evidence is not what"),
        ("update labresults_auditevent set subject = 'R26-0009' where act = 'evaluate_run'", "is filed under what"),
        (
            "insert into reports_withdrawal (certificate_id, reason, made_by_id, made_at)"
            " select max(c.id), 'slipped in', max(c.made_by_id), max(c.made_at) from reports_certificate c",
            "was withdrawn without an event",
        ),
    ],
)
def test_a_row_taken_away_slipped_in_or_filed_elsewhere_is_named(
    statement: str, words: str, lab: Laboratory, certificate: Certificate
) -> None:
    if "slipped in" not in statement:
        withdrawn(lab, certificate)
    assert named_by_a_proof() == []
    done(statement)
    assert words in " ".join(named_by_a_proof())


def test_evidence_that_is_forged_with_its_sums_differs_from_the_audit_trail(certificate: Certificate) -> None:
    """Who alters a row and its evidence must alter the event as well, which breaks the chain."""
    row = certificate.evidence.get(table="labresults.Weighing")
    kept = unpacked(row)
    assert kept is not None
    forged = as_rows(certificate, [type(kept)(kept.label, kept.columns, kept.keys, bytes(len(kept.digests)))])[0]
    assert len(kept.digests) == DIGEST_BYTES * len(kept.keys)
    done(
        "update reports_certificateevidence set sha256 = %s, digests = %s where id = %s",
        forged.sha256,
        forged.digests,
        row.pk,
    )
    assert "its evidence is not what event" in said("verify_certificates")


def _amended(lab: Laboratory, certificate: Certificate) -> None:
    run = Run.objects.get()
    evaluate_run(by=lab.people["analyst"], at=lab.later(), reason="again", run=run, left_out=[(4, "Pb 220.353")])
    approved(lab, certificate.submission)
    amend_certificate(
        by=lab.people["issuer"], at=lab.later(), reason="a standard", certificate=certificate, rule_set=lab.rule_set
    )


def _corrected(lab: Laboratory, certificate: Certificate) -> None:
    withdrawn(lab, certificate)
    first, second = certificate.submission.samples.order_by("ordinal")
    reception = lab.people["reception"]
    correct_identification(by=reception, at=lab.later(), reason="misread", sample=first, to="another")
    strike_sample(by=reception, at=lab.later(), reason="a double", sample=second)


def _moved(lab: Laboratory, certificate: Certificate) -> None:
    withdrawn(lab, certificate)
    to = a_submission(lab, 1, names=["elsewhere"])
    sample = certificate.submission.samples.latest("ordinal")
    move_sample(by=lab.people["reception"], at=lab.later(), reason="wrong bag", sample=sample, to=to)


def _lived_on(lab: Laboratory, certificate: Certificate) -> None:
    """What the week brings: another request, reagents, a check, a shorter week, a client's new address, a password."""
    quality = lab.people["quality manager"]
    change_request(
        by=lab.people["reception"], at=lab.later(), reason="asked", submission=certificate.submission,
        methods=[lab.method], basis=Basis.DRY, due_on=date(2026, 12, 1), agreed_with="A",
    )  # fmt: skip
    add_reagents(
        by=lab.people["preparer"], at=lab.later(), reason="late", batch=PreparationBatch.objects.get(),
        lots=[Lot.objects.get(number="L-2300")],
    )  # fmt: skip
    record_equipment_check(
        by=quality, at=lab.later(), equipment=lab.balance, done_on=lab.clock.date(), due_on=date(2027, 3, 1),
        what="weight W4", passed=True,
    )  # fmt: skip
    set_working_week(by=lab.people["laboratory manager"], at=lab.later(), week=[DayPart.OPEN] * 6 + [DayPart.CLOSED])
    done("update labresults_client set address = 'New Road', email = 'new@example.org'")
    done("update labresults_person set password = 'another', is_active = %s where username = 'analyst'", False)


@pytest.mark.parametrize("happens", [_amended, _corrected, _moved, _lived_on, withdrawn], ids=lambda act: act.__name__)
def test_what_work_rightly_changes_is_no_alarm(
    happens: Callable[[Laboratory, Certificate], None], lab: Laboratory, certificate: Certificate
) -> None:
    happens(lab, certificate)
    assert named_by_a_proof() == []


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        (
            "update labresults_result set value = value + 1 where sample_id is not null and element_id = 'Cu'"
            " and is_candidate",
            ["Cu in KF26-00001 at Cu 324.754: value 12", "is stored, 12", "computed again"],
        ),
        (
            "update labresults_weighing set mass_g = 0.4 where mass_g is not null",
            ["its inputs are not what they were", "and more differs"],
        ),
        ("update labresults_calibration set b1 = b1 * 2", ["calibration block 1 at Cu 324.754: b1"]),
        ("delete from labresults_controloutcome", ["is computed, and not stored"]),
        (
            "update reports_certificateline set printed = '7' where \"column\" = 'AR-7 Cu'",
            ["C26-0001, issue 1: KF26-00001, AR-7 Cu: “12", "is frozen, “7” stands"],
        ),
        (
            "update labresults_selection set made_at = '2027-01-01 00:00:00+00:00'",
            ["C26-0001, issue 1: KF26-00001, AR-7 Cu: “12", "was printed, “” is composed again"],
        ),
    ],
)
def test_recomputing_names_what_differs_by_sample_and_analyte(
    statement: str, words: list[str], certificate: Certificate
) -> None:
    assert "1 certificates composed again: each prints the same." in said("recompute", check=True)
    done(statement)
    found = said("recompute", check=True)
    assert [word for word in words if word not in found] == []


def test_one_run_or_one_certificate_is_recomputed(lab: Laboratory, certificate: Certificate) -> None:
    other = a_submission(lab, 1, names=["other"])
    an_evaluated_run(lab, other)
    assert said("recompute", "R26-0002", check=True) == "1 evaluations computed again: each the same.\n"
    for words in (["certificate", "C26-0001"], ["C26-0001/1"]):
        found = said("recompute", *words, check=True)
        assert found.startswith("1 evaluations computed again: each the same.\n1 certificates composed again")
    assert "2 evaluations" in said("recompute", "all", check=True)


@pytest.mark.parametrize("word", ["R26-0009", "C26-0009", "C26-0001/2", "C26-0001/x"])
def test_what_is_not_there_cannot_be_recomputed(word: str, certificate: Certificate) -> None:
    assert f"{word}" in said("recompute", word, check=True)
    assert said("recompute", word, check=True).startswith("There is no")
