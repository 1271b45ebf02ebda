"""The weighing grid holds only what the kind of solution needs; masses are judged, contents of controls are shown."""

from datetime import date

import pytest
from django.urls import reverse

from labresults.actions.methods import add_method_version
from labresults.models import Lot, PreparationBatch
from labresults.queries.preparation import judge_mass
from labresults.terms import Role, SolutionKind
from tests.builders import NOW, Laboratory, a_method
from tests.web.test_preparation_grid import AsRole, begun, post, recorded, row_of


def of_kind(lab: Laboratory, kind: SolutionKind, unit: str, *controls: dict[str, object]) -> PreparationBatch:
    version = add_method_version(
        by=lab.people["quality manager"], at=NOW, code="OTHER", title="Another", area="water",
        valid_from=date(2026, 1, 1), matrices=["soil"], lines=[], criteria=[], standards=[],
        determinations=[{"element": "Cu", "unit": unit}],
        version={
            "what_was_done": "made up", "dissolution": "none", "solution_kind": kind, "solution_unit": unit,
            "blank_rule": "judged, not subtracted", "volume_mL": 50.0, "weights_edition": "CIAAW 2024",
            "uncertainty_basis": "stated",
        },
        controls=[{"in_batch": True, **control} for control in controls],
    )  # fmt: skip
    return begun(lab, version)


def test_a_volume_needs_no_mass_and_its_spike_names_what_was_added(lab: Laboratory, as_role: AsRole) -> None:
    spike = {"role": Role.SPIKE, "material": "CHECK", "spike_mL": 1.0}
    batch = of_kind(lab, SolutionKind.VOLUME_IN_VOLUME, "mg/L", spike)
    page = as_role("preparer").get(reverse("batch", args=[batch.number]))
    assert page.context["grid"].names == ("aliquot_mL", "volume_mL", "dilution", "spike_mL", "reason")
    assert "the content follows when the tube is recorded" in page.content.decode()

    post(as_role, batch, **{"t1-aliquot_mL": "25", "t4-aliquot_mL": "25", "t4-spike_mL": "0.5"})
    assert recorded("aliquot_mL", "volume_mL", "spike_mL") == [(1, 25.0, 50.0, None), (4, 25.0, 50.0, 0.5)]
    (added,) = as_role("preparer").get(reverse("batch", args=[batch.number])).context["contents"]
    assert [(held.reported_as, held.value, held.unit) for held in added.held] == [
        ("Cu", pytest.approx(0.1, rel=1e-12), "mg/L")  # 0.5 mL of 5 mg/L into 25 mL
    ]


def test_an_oil_takes_solvent_and_internal_standard_by_mass(lab: Laboratory, as_role: AsRole) -> None:
    batch = of_kind(lab, SolutionKind.MASS_IN_MASS, "mg/kg")
    standard = Lot.objects.get(number="L-2300")
    post(
        as_role, batch, internal_standard=standard.pk,
        **{"t1-mass_g": "1.0", "t1-solvent_g": "8.9", "t1-internal_standard_g": "0.1"},
    )  # fmt: skip
    assert recorded("solvent_g", "internal_standard_g", "internal_standard_lot__number") == [(1, 8.9, 0.1, "L-2300")]
    row = row_of(as_role("preparer").get(reverse("batch", args=[batch.number])), 1)
    assert row.factor == pytest.approx(10.0, rel=1e-12)  # (1.0 + 8.9 + 0.1) / 1.0


def test_what_the_reference_material_should_hold_is_shown(lab: Laboratory, as_role: AsRole) -> None:
    batch = begun(lab)
    (held,) = as_role("preparer").get(reverse("batch", args=[batch.number])).context["contents"]
    assert held.tube.portion.tube == 2
    assert [(row.reported_as, row.value, row.unit) for row in held.held] == [
        ("Cu", 120.0, "mg/kg"), ("Pb", 35.0, "mg/kg"),
    ]  # fmt: skip


# ------------------------------------------------------------ judged


@pytest.mark.parametrize(
    ("mass_g", "verdict"),
    [
        (0.4499, "outside"), (0.45, "close"), (0.459, "close"), (0.461, "within"), (0.5, "within"),
        (0.541, "close"), (0.55, "close"), (0.5501, "outside"), (None, "not judged"),
    ],
)  # fmt: skip
def test_a_mass_is_judged_in_its_window(mass_g: float | None, verdict: str, lab: Laboratory) -> None:
    assert judge_mass(mass_g, lab.version) == verdict


def test_a_method_without_a_window_judges_nothing(lab: Laboratory) -> None:
    version = a_method(lab.people["quality manager"], "WW-2", mass_low_g=None, mass_high_g=None)
    assert judge_mass(0.5, version) == "not judged"
