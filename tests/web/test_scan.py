"""A scanned label opens the sample at the station where the person works, and anything else at its own page."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from labresults.actions.batches import begin_batch
from labresults.actions.corrections import strike_sample
from labresults.actions.people import enrol_person
from labresults.models import PreparationBatch, Run, Sample
from tests.builders import (
    NOW,
    PASSWORD,
    Laboratory,
    a_certificate,
    a_run,
    a_submission,
    a_weighed_batch,
    an_evaluated_run,
    approved,
)

AsRole = Callable[[str], Client]

STAGES = ("just received", "in an open batch", "weighed", "measured", "on a certificate")


@pytest.fixture
def samples(lab: Laboratory) -> dict[str, Sample]:
    """The second of two samples of a submission, at each stage of the path; nothing is asked for the last one."""
    made = {stage: a_submission(lab, 2, names=[f"{stage} 1", f"{stage} 2"]) for stage in STAGES}
    chosen = list(made["in an open batch"].samples.order_by("ordinal"))
    begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version, samples=chosen, caution_read=True
    )
    a_weighed_batch(lab, made["weighed"])
    a_run(lab, a_weighed_batch(lab, made["measured"]))
    an_evaluated_run(lab, made["on a certificate"])
    a_certificate(lab, approved(lab, made["on a certificate"]), draw=False)
    return {stage: submission.samples.get(ordinal=2) for stage, submission in made.items()}


def opened(browser: Client, code: str) -> str:
    answer = browser.get(reverse("scan"), {"code": code})
    assert answer.status_code == 302
    return str(answer.headers["Location"])


def tube_of(sample: Sample) -> str:
    tube = sample.subsamples.get().portions.get(role="sample")
    return reverse("batch", args=[tube.batch.number]) + f"#tube-{tube.tube}"


def place_of(sample: Sample) -> str:
    place = sample.subsamples.get().portions.get(role="sample").positions.get()
    return reverse("run", args=[place.run.number]) + f"#p{place.number}"


def its_own(sample: Sample) -> str:
    return reverse("sample", args=[sample.number])


def on_its(page: str) -> Callable[[Sample], str]:
    return lambda sample: reverse(page, args=[sample.submission.number]) + f"#s{sample.number}"


def begun_with(sample: Sample) -> str:
    return reverse("begin-batch", args=["AR-7"]) + f"?with={sample.number}"


TABLE = [
    # role, stage, where it opens
    ("reception", "just received", on_its("submission")),
    ("reception", "on a certificate", on_its("submission")),
    ("preparer", "just received", begun_with),
    ("preparer", "in an open batch", tube_of),
    ("preparer", "weighed", tube_of),
    ("analyst", "just received", its_own),
    ("analyst", "weighed", lambda sample: reverse("plan-run") + "?method=AR-7"),
    ("analyst", "measured", place_of),
    ("reviewer", "measured", on_its("review")),
    ("issuer", "measured", lambda sample: reverse("certify", args=[sample.submission.number])),
    ("issuer", "on a certificate", lambda sample: reverse("certificate", args=["C26-0001", 1])),
    ("quality manager", "measured", its_own),
    ("laboratory manager", "just received", its_own),
    ("auditor", "weighed", its_own),
]


@pytest.mark.parametrize(("role", "stage", "where"), TABLE, ids=[f"{role}, {stage}" for role, stage, _ in TABLE])
def test_a_sample_opens_where_the_person_works(
    role: str, stage: str, where: Callable[[Sample], str], samples: dict[str, Sample], as_role: AsRole
) -> None:
    sample = samples[stage]
    assert opened(as_role(role), sample.number) == where(sample)


def test_the_page_that_opens_has_the_place(samples: dict[str, Sample], as_role: AsRole) -> None:
    """The rows that addresses point at are there."""
    for role, stage in (("reception", "just received"), ("preparer", "weighed"), ("analyst", "measured")):
        address, _, place = opened(as_role(role), samples[stage].number).partition("#")
        assert f'id="{place}"' in as_role(role).get(address).content.decode(), role
    sample = samples["on a certificate"]
    address, _, place = opened(as_role("reviewer"), sample.number).partition("#")
    assert f'id="{place}"' in as_role("reviewer").get(address).content.decode()


@pytest.mark.parametrize(
    ("stage", "where"),
    [
        ("just received", begun_with),
        ("weighed", lambda sample: reverse("plan-run") + "?method=AR-7"),
        ("on a certificate", its_own),  # it waits nowhere
    ],
)
def test_somebody_of_several_stations_is_led_to_where_it_waits(
    stage: str, where: Callable[[Sample], str], samples: dict[str, Sample], lab: Laboratory
) -> None:
    person = enrol_person(
        by=lab.people["laboratory manager"], at=NOW, sign_in="both", full_name="Ada Both", password=PASSWORD,
        roles=["reception", "preparer", "analyst"],
    )  # fmt: skip
    browser = Client()
    browser.force_login(person)
    assert opened(browser, samples[stage].number) == where(samples[stage])


def test_other_labels_open_their_own_pages(samples: dict[str, Sample], as_role: AsRole) -> None:
    browser = as_role("preparer")
    batch, run = PreparationBatch.objects.latest("pk"), Run.objects.latest("pk")
    control, submission = batch.portions.get(role="method blank"), samples["weighed"].submission
    pages = {
        batch.number: reverse("batch", args=[batch.number]),
        control.label: reverse("batch", args=[batch.number]) + f"#tube-{control.tube}",
        run.number: reverse("run", args=[run.number]),
        "L-2200": reverse("lot", args=["L-2200"]),
        "B2": reverse("equipment-item", args=["B2"]),
        submission.number.lower(): reverse("submission", args=[submission.number]),
    }
    assert {code: opened(browser, code) for code in pages} == pages


def test_an_unknown_code_is_looked_for_in_words(lab: Laboratory, as_role: AsRole) -> None:
    sample = a_submission(lab, 1, names=["bag 7731-A"]).samples.get()
    answer = as_role("preparer").get(reverse("scan"), {"code": "7731-A"}, follow=True)
    words = answer.content.decode()
    assert "“7731-A” was scanned: nothing here has this number." in words
    assert sample.number in words


def test_a_struck_sample_opens_itself(lab: Laboratory, as_role: AsRole) -> None:
    sample = a_submission(lab, 2).samples.earliest("ordinal")
    strike_sample(by=lab.people["reception"], at=lab.later(), reason="The bag was empty.", sample=sample)
    assert opened(as_role("preparer"), sample.number) == its_own(sample)


def test_a_scan_asks_the_database_seldom(
    samples: dict[str, Sample], as_role: AsRole, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for role in ("reception", "preparer", "analyst", "reviewer", "issuer"):
        browser = as_role(role)
        with django_assert_max_num_queries(20):
            opened(browser, samples["just received"].number)
