"""The pages for dishes and crucibles."""

from collections.abc import Callable

from django.test import Client
from django.urls import reverse

from labresults.models import FireCharge, MassLoss, PreparationBatch
from labresults.terms import MaterialKind
from tests.actions.test_fire import a_lot
from tests.actions.test_mass_losses import on_the_dry_basis
from tests.builders import Laboratory, a_submission, a_weighed_batch

AsRole = Callable[[str], Client]
DISH = {"tare_g": "21.4382", "before_g": "26.6127", "after_g": "22.7794"}


def posted(number: str, **masses: str) -> dict[str, object]:
    """One dish as the page sends it."""
    row = {f"{number}-{name}": text for name, text in (DISH | masses).items()}
    return row | {
        "kind": "moisture at 105 °C", "temperature_C": "105", "state": "as received", "number": [number],
        f"{number}-seen": "0",
    }  # fmt: skip


def test_a_sample_on_the_dry_basis_waits_for_its_dish_and_is_recorded(lab: Laboratory, as_role: AsRole) -> None:
    submission = a_submission(lab, 1)
    on_the_dry_basis(lab, submission)
    number = submission.samples.get().number
    page = as_role("preparer")
    shown = page.get(reverse("mass-losses"))
    assert f'name="{number}-tare_g"' in shown.content.decode()
    answer = page.post(reverse("mass-losses"), posted(number) | {"record": "1"}, follow=True)
    assert "1 dish is recorded" in answer.content.decode()
    assert MassLoss.objects.get().subsample.sample.number == number
    assert "No sample waits" in answer.content.decode()


def test_a_sample_that_is_scanned_is_put_in_and_what_was_typed_stays(lab: Laboratory, as_role: AsRole) -> None:
    first, second = (sample.number for sample in a_submission(lab, 2).samples.order_by("ordinal"))
    shown = as_role("preparer").post(reverse("mass-losses"), posted(first) | {"scan": second, "add": "1"})
    text = shown.content.decode()
    assert f'name="{second}-tare_g"' in text
    assert 'value="22.7794"' in text
    assert not MassLoss.objects.exists()
    # and one that is not there is said
    shown = as_role("preparer").post(reverse("mass-losses"), posted(first) | {"scan": "KF26-99999", "add": "1"})
    assert "There is no sample “KF26-99999”" in shown.content.decode()


def test_what_is_no_mass_is_said_at_its_dish(lab: Laboratory, as_role: AsRole) -> None:
    number = a_submission(lab, 1).samples.get().number
    shown = as_role("preparer").post(reverse("mass-losses"), posted(number, after_g="22,7794") | {"record": "1"})
    assert "“22,7794” is no mass" in shown.content.decode()
    shown = as_role("preparer").post(reverse("mass-losses"), posted(number, after_g="27") | {"record": "1"})
    assert "exchanged" in shown.content.decode()
    assert not MassLoss.objects.exists()


def test_crucibles_are_recorded_on_their_page(lab: Laboratory, as_role: AsRole) -> None:
    batch = a_weighed_batch(lab, a_submission(lab, 1))
    flux = a_lot(lab, "F-7", MaterialKind.REAGENT)
    page, address = as_role("preparer"), reverse("fire", args=[batch.number])
    assert "Molten lead" in page.get(address).content.decode()
    tubes = batch.portions.values_list("tube", flat=True)
    row = {f"t{tube}-crucible": str(tube) for tube in tubes} | {f"t{tube}-flux_g": "120" for tube in tubes}
    # when a flux is missing, it is said at the tube; then all of it is recorded
    last = max(tubes)
    shown = page.post(address, row | {"tray": "T1", "flux_lot": flux.pk, f"t{last}-flux_g": ""})
    assert "Flux, g: it is missing" in shown.content.decode()
    assert not FireCharge.objects.exists()
    answer = page.post(address, row | {"tray": "T1", "flux_lot": flux.pk}, follow=True)
    assert f"{len(tubes)} crucibles are recorded" in answer.content.decode()
    assert PreparationBatch.objects.get().portions.filter(fire_charges__isnull=False).count() == len(tubes)


def test_a_samples_page_shows_what_it_lost(lab: Laboratory, as_role: AsRole) -> None:
    number = a_submission(lab, 1).samples.get().number
    page = as_role("preparer")
    page.post(reverse("mass-losses"), posted(number) | {"record": "1"})
    words = page.get(reverse("sample", args=[number])).content.decode()
    assert "moisture at 105 °C" in words
    assert "74.0806" in words  # 100 × 3.8333 / 5.1745, to four decimals


def test_a_bead_says_by_mass_what_its_charge_held(lab: Laboratory, as_role: AsRole) -> None:
    # given a charge of 0.5 g (as the builders weigh) and a bead of 0.003 mg: 6 g/t, 0.175 troy ounces a short ton
    batch = a_weighed_batch(lab, a_submission(lab, 1))
    flux = a_lot(lab, "F-7", MaterialKind.REAGENT)
    tube = batch.portions.get(role="sample").tube
    page, address = as_role("preparer"), reverse("fire", args=[batch.number])
    row = {f"t{tube}-crucible": "1", f"t{tube}-flux_g": "120", f"t{tube}-bead_mg": "0.003"}
    words = page.post(address, row | {"tray": "T1", "flux_lot": flux.pk}, follow=True).content.decode()
    assert "What the beads say by mass" in words
    assert "6.000" in words
    assert "0.1750" in words  # 6 / 34.2857 (NIST SP 811, appendix B)
