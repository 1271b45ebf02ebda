"""Real soils from the counter to the spreadsheet: 155 samples, four metals, every published figure comes back."""

import re
from decimal import Decimal
from io import BytesIO
from pathlib import Path

import openpyxl
import pytest

from labresults import models
from labresults.actions.batches import begin_batch
from labresults.actions.delivery import receive_samples
from labresults.actions.evaluation import compute_again, evaluate_run
from labresults.actions.materials import register_lot, register_material
from labresults.actions.methods import add_method_version
from labresults.actions.readings import import_readings
from labresults.actions.runs import plan_run
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import Evaluation, MethodVersion, Position, PreparationBatch, Run, Submission, Weighing
from labresults.queries.delivery import delivered
from labresults.queries.history import broken_link
from labresults.readers.pasted import paste
from labresults.terms import BlankRule, Curve, MaterialKind, Measure, Reach, Role, SolutionKind, Verdict, Weighting
from reports.actions.certificates import issue_certificate, publish_certificate
from reports.actions.rule_sets import save_rule_set
from reports.models import Certificate
from reports.rules.ruleset import RuleSet
from tests.builders import NOW, Laboratory, approved
from tests.journeys.open_data import METALS, NotFetched, Soil, data_file, soils

DECIMALS = {"Cd": 1, "Cu": 0, "Pb": 0, "Zn": 0}
"""Decimals to which the contents were published."""

LABELS = {"Cd": "228.802", "Cu": "324.754", "Pb": "220.353", "Zn": "213.857"}
"""Emission lines, nm."""

SENSITIVITY = {"Cd": 41_200.0, "Cu": 18_350.0, "Pb": 2_140.0, "Zn": 26_700.0}
"""Signal for each mg/L, counts/s, invented; the background is `BACKGROUND`."""

BACKGROUND = 37.5
"""Signal of a solution with nothing in it, counts/s, invented."""

STANDARDS = {"RP-0": 0.0, "RP-1": 0.01, "RP-2": 0.1, "RP-3": 1.0, "RP-4": 10.0}
"""Working standards, mg/L of each metal, invented."""

CHECK_MG_L = 5.0
REFERENCE_SOIL = {"Cd": 3.1, "Cu": 46.0, "Pb": 152.0, "Zn": 480.0}
"""Contents of the reference soil, mg/kg, invented."""

LIMITS = {"Cd": 0.0012, "Cu": 0.02, "Pb": 0.02, "Zn": 0.02}
"""Detection limits, mg/L: half a gram in 50 mL makes 0.12 and 2 mg/kg of them, the places of the published contents."""


def test_every_published_content_comes_back_to_its_last_figure(lab: Laboratory) -> None:
    version, wanted = a_soil_method(lab), the_soils()
    published = {soil.identification: soil.published for soil in wanted}
    submission = receive(lab, version, wanted)
    batches = prepare(lab, version, submission, published)

    evaluations = [measure(lab, version, batches[n : n + 2], published) for n in range(0, len(batches), 2)]
    over_range = measure_diluted(lab, version, evaluations, published)

    assert not Evaluation.objects.filter(outcomes__verdict=Verdict.OUTSIDE).exists()
    assert over_range.results.filter(is_candidate=True, element="Zn", selections__isnull=False).count() >= 5
    certificate = certify(lab, approved(lab, submission))
    found = read_back(bytes(certificate.files.get(kind="xlsx").content))
    assert found == {
        soil.identification: {element: shown_as(element, text) for element, text in soil.published.items()}
        for soil in wanted
    }
    assert sum(map(len, found.values())) == 620
    assert broken_link() is None


def test_a_kept_file_that_is_not_the_published_one_is_refused(tmp_path: Path) -> None:
    (tmp_path / "meuse.txt").write_bytes(b"x,y,cadmium\n1,2,3\n")
    with pytest.raises(NotFetched, match="is not the file that was expected"):
        data_file(tmp_path)


def test_a_package_that_is_not_the_published_one_is_refused_and_not_kept(tmp_path: Path) -> None:
    with pytest.raises(NotFetched, match="is not the file that was expected"):
        data_file(tmp_path, fetch=lambda _: b"something else")
    assert not list(tmp_path.iterdir())


def the_soils() -> list[Soil]:
    why = ""
    try:
        found = soils(data_file())
    except NotFetched as error:
        why = str(error)
    if why:  # not in the handler, which would have it said twice
        pytest.fail(why, pytrace=False)
    assert len(found) == 155
    return found


def a_soil_method(lab: Laboratory) -> MethodVersion:
    """Four metals in soil by aqua regia; zinc goes over range above 1000 mg/kg."""
    quality = lab.people["quality manager"]
    levels = STANDARDS | {"RP-CHECK": CHECK_MG_L}
    contents = {code: [(element, level, "mg/L", "") for element in METALS] for code, level in levels.items()}
    contents["RP-SOIL"] = [(element, value, "mg/kg", "aqua regia") for element, value in REFERENCE_SOIL.items()]
    for place, (code, held) in enumerate(contents.items()):
        kind = MaterialKind.REFERENCE_MATERIAL if code == "RP-SOIL" else MaterialKind.STANDARD
        material = register_material(by=quality, at=NOW, code=code, name=f"{code}, invented", kind=kind)
        register_lot(
            by=quality, at=NOW, number=f"L-{3100 + place}", material=material,
            received_on=NOW.date(), expires_on=NOW.date().replace(year=NOW.year + 1),
            contents=[{"element": e, "value": v, "unit": unit, "dissolution": d} for e, v, unit, d in held],
        )  # fmt: skip
    recovery = {"measure": Measure.RECOVERY, "remedy": "Measure again.", "source": "common practice, no source"}
    return add_method_version(
        by=quality,
        at=NOW,
        code="AR-4",
        title="Four metals in soil",
        area="food and agriculture",
        valid_from=NOW.date(),
        version={
            "what_was_done": "0.5 g in aqua regia, to 50 mL; plasma emission",
            "dissolution": "aqua regia",
            "solution_kind": SolutionKind.MASS_IN_VOLUME,
            "solution_unit": "mg/L",
            "blank_rule": BlankRule.JUDGE,
            "mass_low_g": 0.45,
            "mass_high_g": 0.55,
            "volume_mL": 50.0,
            "dilution_steps": [2, 5, 10],
            "weights_edition": "CIAAW 2024",
            "uncertainty_basis": "invented",
        },
        matrices=["soil"],
        lines=[a_line(element) for element in METALS],
        determinations=[{"element": element, "unit": "mg/kg"} for element in METALS],
        criteria=[
            recovery | {"role": Role.CONTINUING_VERIFICATION, "low": 90.0, "high": 110.0, "reach": Reach.BRACKET},
            recovery | {"role": Role.REFERENCE_MATERIAL, "low": 80.0, "high": 120.0, "reach": Reach.BATCH},
            recovery
            | {"role": Role.DUPLICATE, "measure": Measure.DIFFERENCE, "high": 20.0, "reach": Reach.BATCH},
        ],
        standards=list(STANDARDS),
        controls=[
            {"role": Role.CONTINUING_VERIFICATION, "material": "RP-CHECK", "every": 10, "at_end": True},
            {"role": Role.METHOD_BLANK, "in_batch": True},
            {"role": Role.REFERENCE_MATERIAL, "material": "RP-SOIL", "in_batch": True},
            {"role": Role.DUPLICATE, "in_batch": True},
        ],
    )  # fmt: skip


def a_line(element: str) -> dict[str, object]:
    return {
        "element": element,
        "label": LABELS[element],
        "rank": 1,
        "curve": Curve.LINE,
        "weighting": Weighting.INVERSE_X2,
        "range_top": 10.0,
        "detection_limit": LIMITS[element],
        "quantification_limit": LIMITS[element] * 1.5,
        "u_floor": 0.001,
        "u_relative": 0.03,
    }


def receive(lab: Laboratory, version: MethodVersion, wanted: list[Soil]) -> Submission:
    """The delivery, pasted from a spreadsheet."""
    pasted = paste("\n".join(["identification\tmatrix\tg", *(f"{s.identification}\tsoil\t250" for s in wanted)]))
    assert not pasted.problems
    fields = ("client_identification", "matrix", "delivered_g")
    return receive_samples(
        by=lab.people["reception"],
        at=lab.later(),
        client=lab.client,
        rows=delivered([dict(zip(fields, row.cells, strict=True)) for row in pasted.rows]),
        methods=[version.method],
    )


def prepare(
    lab: Laboratory, version: MethodVersion, submission: Submission, published: dict[str, dict[str, str]]
) -> list[PreparationBatch]:
    """Batches of at most twenty, each tube weighed as it came; rich ones diluted at the bench."""
    samples = list(submission.samples.order_by("ordinal"))
    batches = []
    for start in range(0, len(samples), 20):
        batch = begin_batch(
            by=lab.people["preparer"],
            at=lab.later(),
            method_version=version,
            samples=samples[start : start + 20],
            caution_read=True,
        )
        portions = batch.portions.select_related("subsample__sample").order_by("tube")
        record_weighings(
            by=lab.people["preparer"],
            at=lab.later(),
            batch=batch,
            balance=lab.balance,
            rows=[weighed(portion, published) for portion in portions],
        )
        batches.append(batch)
    return batches


def weighed(portion: models.TestPortion, published: dict[str, dict[str, str]]) -> Weighed:
    """A mass between 0.45 and 0.55 g that differs from tube to tube; some of what holds much is diluted."""
    mass_g = round(0.4503 + (portion.pk * 37 % 97) / 1000, 4)
    held = published[identification(portion)] if portion.subsample else REFERENCE_SOIL
    much = float(held["Zn"]) >= 1500
    dilution = "1 in 5" if much else "1 + 1" if float(held["Cd"]) >= 1 and portion.pk % 4 == 0 else ""
    return Weighed(
        portion.label,
        mass_g=None if portion.role == Role.METHOD_BLANK else mass_g,
        volume_mL=50.0 if portion.pk % 3 else 49.9,
        dilution=dilution,
    )


def identification(portion: models.TestPortion) -> str:
    assert portion.subsample is not None
    return portion.subsample.sample.client_identification


def measure(
    lab: Laboratory, version: MethodVersion, batches: list[PreparationBatch], published: dict[str, dict[str, str]]
) -> Evaluation:
    """A run of two batches, read and evaluated."""
    run = plan_run(
        by=lab.people["analyst"],
        at=lab.later(),
        reason="published samples only: no control samples of a batch",
        method_version=version,
        portions=[portion for batch in batches for portion in batch.portions.order_by("tube")],
        instrument=lab.spectrometer,
    )
    return read_and_evaluate(lab, run, published)


def measure_diluted(
    lab: Laboratory, version: MethodVersion, evaluations: list[Evaluation], published: dict[str, dict[str, str]]
) -> Evaluation:
    """What was over range, read again at the dilutions that the evaluations propose."""
    dilutions: dict[int, float] = {}
    for evaluation in evaluations:
        portions = dict(evaluation.run.positions.filter(role=Role.SAMPLE).values_list("number", "portion"))
        computed = compute_again(evaluation)
        for proposal in computed.evaluated.proposals:
            if proposal.position in portions:
                assert proposal.factor is not None
                dilutions[portions[proposal.position]] = proposal.factor
    run = plan_run(
        by=lab.people["analyst"],
        at=lab.later(),
        reason="zinc over range",
        method_version=version,
        portions=list(models.TestPortion.objects.filter(pk__in=dilutions).order_by("pk")),
        instrument=lab.spectrometer,
        dilutions=dilutions,
    )
    return read_and_evaluate(lab, run, published)


def read_and_evaluate(lab: Laboratory, run: Run, published: dict[str, dict[str, str]]) -> Evaluation:
    import_readings(
        by=lab.people["analyst"],
        at=lab.later(),
        run=run,
        content=a_reading_file(run, published),
        filename=f"{run.number}.csv",
        layout=lab.layout,
    )
    return evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)


def a_reading_file(run: Run, published: dict[str, dict[str, str]]) -> bytes:
    """What an instrument without noise would write; the two replicates lie 0.4 % to both sides."""
    positions = list(run.positions.select_related("lot__material", "portion__subsample__sample").order_by("number"))
    rows = Weighing.objects.filter(portion__in=[p.portion_id for p in positions if p.portion_id])
    weighings = {row.portion_id: row for row in rows.order_by("version")}
    lines = ["position,label,line,reading 1,reading 2"]
    for position in positions:
        weighing = weighings.get(position.portion_id)
        for element in METALS:
            signal = BACKGROUND + SENSITIVITY[element] * in_solution(position, weighing, element, published)
            readings = f"{signal * 1.004!r},{signal * 0.996!r}"
            lines.append(f"{position.number},{position.label},{element} {LABELS[element]},{readings}")
    return "\n".join(lines).encode()


def in_solution(
    position: Position, weighing: Weighing | None, element: str, published: dict[str, dict[str, str]]
) -> float:
    """mg/L of the element in the solution at a position."""
    if weighing is None:
        assert position.lot is not None
        return STANDARDS.get(position.lot.material.code, CHECK_MG_L)
    if weighing.mass_g is None or weighing.volume_mL is None:
        return 0.0
    assert position.portion is not None
    held = published[identification(position.portion)] if position.portion.subsample else REFERENCE_SOIL
    return float(held[element]) * weighing.mass_g / weighing.volume_mL / weighing.dilution / position.dilution


def certify(lab: Laboratory, submission: Submission) -> Certificate:
    """Four figures, no finer than a limit of one figure: the places to which the contents were published."""
    rules = save_rule_set(
        by=lab.people["quality manager"], at=lab.later(), rule_set=RuleSet("Soils", 1, figures=4, limit_figures=1)
    )
    issuer = lab.people["issuer"]
    certificate = issue_certificate(by=issuer, at=lab.later(), submission=submission, rule_set=rules)
    publish_certificate(by=issuer, at=lab.later(), certificate=certificate)
    return certificate


def read_back(workbook: bytes) -> dict[str, dict[str, str]]:
    """What the first sheet shows of each sample and metal, by the client's own identification."""
    sheet = openpyxl.load_workbook(BytesIO(workbook)).worksheets[0]
    rows = list(sheet.iter_rows())
    head = next(n for n, row in enumerate(rows) if row[0].value == "Sample")
    columns = {metal: cell.column - 1 for metal in METALS for cell in rows[head] if cell.value == f"{metal} value"}
    return {
        str(row[1].value): {element: shown(row[column]) for element, column in columns.items()}
        for row in rows[head + 1 :]
        if str(row[1].value or "").startswith("plot ")
    }


def shown(cell: openpyxl.cell.Cell) -> str:
    """A number as its format shows it, thousands not parted; anything else to the letter."""
    if not isinstance(cell.value, int | float):
        return str(cell.value)
    places = re.search(r"\.(0+)", cell.number_format)
    decimals = len(places[1]) if places else 0
    assert Decimal(repr(cell.value)) == round(Decimal(repr(cell.value)), decimals), "more in the cell than it shows"
    return f"{cell.value:.{decimals}f}"


def shown_as(element: str, published: str) -> str:
    """A published content at the places of its column: the data file leaves the last zero of 12.0 out."""
    return f"{Decimal(published):.{DECIMALS[element]}f}"
