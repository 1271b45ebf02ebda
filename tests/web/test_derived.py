"""Derived results on pages: defined by a form, asked for at the counter, shown beside what they follow, and traced."""

import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.derived import define_sample_set
from labresults.actions.evaluation import evaluate_run
from labresults.actions.review import refuse_results, send_back_results
from labresults.actions.samples import state_not_measured
from labresults.models import DerivedDefinition, SampleSet, Submission
from labresults.queries.results import newest_selections
from labresults.terms import NotMeasured, Station
from reports.models import CertificateLine
from tests.builders import (
    PASSWORD,
    Laboratory,
    a_batch,
    a_certificate,
    a_derived,
    a_grade,
    a_reading_file,
    a_run,
    a_submission,
    an_evaluated_run,
    an_imported_file,
    approved,
)

AsRole = Callable[[str], Client]
pytestmark = pytest.mark.django_db


def sent(**changes: object) -> dict[str, object]:
    """What the form of a definition sends: copper and lead added up."""
    return {
        "code": "metals", "name": "Copper and lead", "reported_as": "Cu + Pb", "unit": "mg/kg", "form": "sum of terms",
        "below": "as zero", "all_needed": "on", "source": "arithmetic",
        "term-part": ["a", "a", ""], "term-element": ["Cu", "Pb", ""], "term-as": ["", "", ""],
        "term-unit": ["mg/kg", "mg/kg", ""], "term-factor": ["", "1", ""], "term-by": ["", "AR-7", ""],
    } | changes  # fmt: skip


def words_of(answer: object) -> str:
    return answer.content.decode()  # type: ignore[attr-defined]


def test_a_definition_is_entered_and_replaced_by_a_form(lab: Laboratory, as_role: AsRole) -> None:
    quality = as_role("quality manager")
    page = quality.post(reverse("derived-results"), sent(), follow=True)
    assert "metals v1 stands from now on" in words_of(page)
    row = DerivedDefinition.objects.get()
    assert [(term["element"], term["by"]) for term in row.terms] == [("Cu", []), ("Pb", ["AR-7"])]
    assert 'value="Pb"' in words_of(page)  # the form begins with the terms that stand
    quality.post(reverse("derived-result", args=["metals"]), sent(source="another"), follow=True)
    assert DerivedDefinition.objects.latest("version").source == "another"
    listed = words_of(quality.get(reverse("derived-results")))
    assert "Cu + Pb, each in mg/kg" in listed
    assert "A term below its detection limit counts as zero, and as its limit in what stands after &lt;." in listed


def test_the_form_for_the_next_version_begins_with_every_figure(lab: Laboratory, as_role: AsRole) -> None:
    """A factor of eight figures: sent back as it was shown it must be the same number."""
    terms = [{"element": "Cu", "unit": "mg/kg", "factor": 0.42141573}, {"element": "Pb", "unit": "mg/kg", "factor": 2}]
    a_derived(lab, terms=terms)
    page = words_of(as_role("quality manager").get(reverse("derived-result", args=["metals"])))
    assert re.findall(r'name="term-factor"[^>]*value="([^"]+)"', page) == ["0.42141573", "2"]
    assert "0.42141573 × Cu + 2 × Pb, each in mg/kg" in page


def test_a_flaw_is_said_at_its_term_and_nothing_typed_is_lost(lab: Laboratory, as_role: AsRole) -> None:
    page = words_of(
        as_role("quality manager").post(
            reverse("derived-results"), sent(**{"term-element": ["Cu", "Qq", ""]}), follow=True
        )
    )
    assert "row 2, column element: Qq is not an element." in page
    assert 'value="Qq"' in page
    assert not DerivedDefinition.objects.exists()


def test_only_who_may_define_sees_the_form(lab: Laboratory, as_role: AsRole) -> None:
    assert "Define a derived result" not in words_of(as_role("analyst").get(reverse("derived-results")))


def test_it_is_asked_for_at_the_counter_and_with_a_changed_request(lab: Laboratory, as_role: AsRole) -> None:
    row = a_derived(lab)
    reception = as_role("reception")
    assert "Cu + Pb, Copper and lead (v1)" in words_of(reception.get(reverse("reception")))
    submission = a_submission(lab)
    address = reverse("change-request", args=[submission.number])
    common = {
        "seen_version": 1, "methods": [lab.method.pk], "derived": [row.pk], "basis": "as received",
        "keeps_own": "keep", "agreed_with": "the client", "reason": "wanted too",
    }  # fmt: skip
    looked = words_of(reception.post(address, common | {"look": "look"}))
    assert "Cu + Pb (v1)" in looked
    reception.post(address, common | {"change": "change"})
    assert [asked.definition for asked in submission.requests.latest("version").derived.all()] == [row]
    assert "Cu + Pb</a>" in words_of(reception.get(reverse("submission", args=[submission.number])))


def test_it_is_shown_beside_what_it_follows(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, derived=[a_derived(lab)])
    an_evaluated_run(lab, submission)
    analyst, sample = as_role("analyst"), submission.samples.earliest("ordinal")
    for address in (reverse("review", args=[submission.number]), reverse("sample", args=[sample.number])):
        page = words_of(analyst.get(address))
        assert "Cu + Pb" in page, address
        assert f"{reverse('derived-of-sample', args=[sample.number])}#metals" in page, address
        assert ">155<" in page, address
    steps = words_of(analyst.get(reverse("derived-of-sample", args=[sample.number])))
    assert "The formula" in steps
    assert "Expanded uncertainty" in steps
    assert steps.count(reverse("trace", args=[0])[:-1]) == 2  # one way back for each input


@pytest.mark.parametrize(
    ("turn_down", "sent", "words"),
    [(refuse_results, {}, "refused"), (send_back_results, {"to": Station.RUNS}, "sent back")],
)
def test_what_was_turned_down_gives_nothing_and_is_named_in_place_of_the_value(
    lab: Laboratory, as_role: AsRole, turn_down: Callable[..., object], sent: dict[str, object], words: str
) -> None:
    # given Cu + Pb and a mean of Cu, and the copper of the first sample turned down at review
    submission = a_submission(lab, derived=[a_derived(lab), a_grade(lab)])
    first, second, _ = submission.samples.order_by("ordinal")
    an_evaluated_run(lab, submission)
    define_sample_set(
        by=lab.people["reception"], at=lab.later(), submission=submission, name="upper",
        members=[(first, 2.5), (second, 3.0)],
    )  # fmt: skip
    copper = [row.result_id for row in newest_selections(sample_ids=[first.pk]).values() if row.element_id == "Cu"]
    turn_down(
        by=lab.people["reviewer"], at=lab.later(), reason="The tube leaked.", results=copper, password=PASSWORD, **sent
    )  # fmt: skip
    # then every page says so where the value was, and the other sample keeps its own
    analyst = as_role("analyst")
    matrix = words_of(analyst.get(reverse("review", args=[submission.number])))
    row, _, others = matrix.partition(f'id="s{first.number}"')[2].partition("</tr>")
    assert f'title="Cu by AR-7: {words} at review">Cu {words}</a>' in row
    assert ">155</a>" not in row
    assert ">155</a>" in others.partition("</tr>")[0]
    page = words_of(analyst.get(reverse("sample", args=[first.number])))
    assert f'#metals">Cu {words}</a> <span class="quiet">Cu by AR-7: {words} at review</span>' in page
    steps = words_of(analyst.get(reverse("derived-of-sample", args=[first.number])))
    assert f"No value: Cu by AR-7: {words} at review." in steps
    assert f"Cu {words}" in steps
    sets = words_of(analyst.get(reverse("sample-sets", args=[submission.number])))
    assert f"<b>Cu, mean</b>: {first.number} {words} ({first.number}: {words} at review)." in sets


def test_a_set_is_pasted_and_its_mean_is_shown(lab: Laboratory, as_role: AsRole) -> None:
    """By hand: 120 mg/kg in both."""
    submission = a_submission(lab, derived=[a_grade(lab)])
    an_evaluated_run(lab, submission)
    reception, address = as_role("reception"), reverse("sample-sets", args=[submission.number])
    first, second, _ = submission.samples.order_by("ordinal")
    wrong = words_of(reception.post(address, {"name": "upper", "members": f"{first.number}\t2.5\nelsewhere; 3"}))
    assert "Line 2: “elsewhere” is no sample of this submission." in wrong
    assert not SampleSet.objects.exists()
    pasted = f"{first.number}\t2.5\n{second.client_identification}; 3\n"
    page = words_of(reception.post(address, {"name": "upper", "members": pasted}, follow=True))
    assert "The set upper stands." in page
    assert "<b>Cu, mean</b>: 120 mg/kg" in page
    assert "5.5" in page


def test_a_printed_one_leads_back_to_its_inputs(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, derived=[a_derived(lab)])
    an_evaluated_run(lab, submission)
    certificate = a_certificate(lab, approved(lab, submission), draw=False)
    auditor = as_role("auditor")
    sample = submission.samples.earliest("ordinal")
    line = CertificateLine.objects.get(certificate=certificate, sample=sample, column="metals")
    on_certificate = words_of(auditor.get(reverse("certificate", args=[certificate.number, 1])))
    named = f"{reverse('derived-printed', args=[certificate.number, 1])}?of={sample.number}"
    assert named in on_certificate
    led = auditor.get(
        reverse("derived-printed", args=[certificate.number, 1]), {"of": sample.number, "column": "metals"}
    )
    assert led.url == reverse("derived-trace", args=[line.pk])  # type: ignore[attr-defined]
    page = words_of(auditor.get(reverse("derived-trace", args=[line.pk])))
    assert "the same to the last bit" in page
    for given in line.inputs.all():
        assert reverse("trace", args=[given.result_id]) in page


def test_the_page_of_a_printed_one_asks_the_database_seldom(
    lab: Laboratory, as_role: AsRole, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    submission: Submission = a_submission(lab, derived=[a_derived(lab)])
    an_evaluated_run(lab, submission)
    a_certificate(lab, approved(lab, submission), draw=False)
    browser, line = as_role("auditor"), CertificateLine.objects.filter(column="metals").latest("pk")
    with django_assert_max_num_queries(20):  # type: ignore[attr-defined]
        assert browser.get(reverse("derived-trace", args=[line.pk])).status_code == 200


def test_a_word_of_a_whole_method_speaks_of_its_elements_on_the_samples_page(lab: Laboratory, as_role: AsRole) -> None:
    # given a sum that is asked for, and a sample that was destroyed before anything was measured
    submission = a_submission(lab, 1, derived=[a_derived(lab)])
    sample = submission.samples.get()
    state_not_measured(
        by=lab.people["reception"], at=lab.later(), reason="spilt", sample=sample, method=lab.method,
        word=NotMeasured.DESTROYED,
    )  # fmt: skip
    # then the sample's page says so of the sum, as its own page does
    page = " ".join(words_of(as_role("analyst").get(reverse("sample", args=[sample.number]))).split())
    assert "no result yet" not in page
    assert "destroyed" in words_of(as_role("analyst").get(reverse("derived-of-sample", args=[sample.number])))


def test_of_very_many_terms_the_first_are_shown_and_each_leads_on(lab: Laboratory, as_role: AsRole) -> None:
    # given a mean over 25 samples
    submission = a_submission(lab, 25, derived=[a_grade(lab)])
    define_sample_set(
        by=lab.people["reception"], at=lab.later(), submission=submission, name="all",
        members=[(sample, 2.5) for sample in submission.samples.all()],
    )  # fmt: skip
    samples = list(submission.samples.order_by("ordinal"))
    run = a_run(lab, *(a_batch(lab, lab.version, some) for some in (samples[:20], samples[20:])))
    an_imported_file(lab, run, a_reading_file(run))
    evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)
    # then ten of its terms stand there, the others are folded away beside them, and the sum counts all of them
    page = words_of(as_role("analyst").get(reverse("sample-sets", args=[submission.number])))
    open_part, _, folded = page.partition("and 15\N{NO-BREAK SPACE}terms more")
    assert (open_part.count('<a href="/results/'), folded.count('<a href="/results/')) == (10, 15)
    assert "sum of the 25 lines above" in folded
