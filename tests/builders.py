"""Things of a laboratory, made through actions; only what differs is said. Everything is invented."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pyotp
from django.conf import settings

from labresults.actions.access import issue_access_token
from labresults.actions.batches import begin_batch
from labresults.actions.delivery import receive_samples
from labresults.actions.derived import define_derived
from labresults.actions.evaluation import evaluate_run
from labresults.actions.materials import (
    record_equipment_check,
    register_equipment,
    register_lot,
    register_material,
)
from labresults.actions.methods import add_method_version, save_layout
from labresults.actions.people import authorise_person, enrol_person
from labresults.actions.readings import import_readings
from labresults.actions.review import approve_results
from labresults.actions.runs import plan_run
from labresults.actions.samples import register_client, register_matrices
from labresults.actions.second_factor import turn_on_second_factor
from labresults.actions.weighings import Weighed, record_weighings
from labresults.models import (
    AccessToken,
    Client,
    DerivedDefinition,
    Equipment,
    Evaluation,
    Layout,
    Lot,
    Material,
    Method,
    MethodVersion,
    Person,
    PreparationBatch,
    ReadingFile,
    Run,
    Sample,
    SecondFactor,
    Submission,
)
from labresults.queries.results import waiting_for_review
from labresults.readers.delivery import DeliveredSample
from labresults.readers.layout import Layout as LayoutSpecification
from labresults.readers.layout import Shape
from labresults.roles import ROLES
from labresults.terms import (
    BlankRule,
    Curve,
    DerivedForm,
    EquipmentKind,
    MaterialKind,
    Measure,
    Reach,
    Role,
    SolutionKind,
    Task,
    Weighting,
)
from reports.actions.certificates import issue_certificate, publish_certificate
from reports.actions.rule_sets import save_rule_set
from reports.actions.signing import register_signing_certificate
from reports.models import Certificate, RuleSetVersion
from reports.rules.ruleset import RuleSet
from reports.signing.keys import CERTIFICATE_FILE, read_public

NOW = datetime(2026, 11, 16, 8, 0, tzinfo=UTC)
PASSWORD = "gravel road 1911"

PHOTOGRAPH = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de"
    "0000000c49444154789c63d879601b0004650230aad1d6700000000049454e44ae426082"
)
"""A picture of one pixel, PNG."""

CONTENT = {"Cu": 120.0, "Pb": 35.0}
"""True contents of an ordinary sample, mg/kg."""

SENSITIVITY = {"Cu": 1800.0, "Pb": 900.0}
"""Signal for each mg/L, counts/s; the background is 10."""

STANDARDS = {"STD-0": 0.0, "STD-1": 0.05, "STD-2": 1.0, "STD-3": 10.0}
"""Working standards by material, mg/L of both elements."""


@dataclass
class Laboratory:
    """A laboratory with one method, ready to work."""

    people: dict[str, Person]
    client: Client
    method: Method
    version: MethodVersion
    balance: Equipment
    spectrometer: Equipment
    layout: Layout
    rule_set: RuleSetVersion
    clock: datetime = field(default=NOW)

    def later(self, hours: float = 1) -> datetime:
        """The next moment at which something is done."""
        self.clock += timedelta(hours=hours)
        return self.clock


def a_laboratory(founder: Person) -> Laboratory:
    """People for every role, a client, standards, a method for copper and lead in soil, equipment that was checked."""
    quality = founder
    people = {
        role: enrol_person(
            by=founder, at=NOW, sign_in=role.replace(" ", "-"), full_name=f"{role.title()} Person",
            password=PASSWORD, roles=[role],
        )
        for role in ROLES
        if role != "client"
    }  # fmt: skip
    tasks = {"preparer": Task.PREPARE, "analyst": Task.MEASURE, "reviewer": Task.REVIEW, "issuer": Task.ISSUE}
    for role, task in tasks.items():
        authorise_person(by=quality, at=NOW, person=people[role], task=task, valid_from=date(2026, 1, 1))
    client = register_client(
        by=people["reception"], at=NOW, code="ridge", name="Ninefold Ridge prospect", contact="Camp office"
    )
    register_matrices(by=quality, at=NOW, area="geochemistry", names=["rock", "soil"])
    _materials(quality)
    version = a_method(quality)
    key = read_public(Path(settings.KEYS) / CERTIFICATE_FILE)
    register_signing_certificate(by=people["laboratory manager"], at=NOW, half=key)
    return Laboratory(
        people=people,
        client=client,
        method=version.method,
        version=version,
        balance=_equipment(quality, "B2", EquipmentKind.BALANCE),
        spectrometer=_equipment(quality, "P1", EquipmentKind.SPECTROMETER),
        layout=save_layout(by=quality, at=NOW, specification=LONG),
        rule_set=save_rule_set(by=quality, at=NOW, rule_set=RuleSet("R2", 1)),
    )


LONG = LayoutSpecification(
    name="long",
    version=1,
    shape=Shape.LONG,
    unit="counts/s",
    position="position",
    label="label",
    line="line",
    replicates=("reading 1", "reading 2"),
    missing=("", "none"),
    over_range=("saturated",),
)


AQUA_REGIA: dict[str, Any] = {
    "what_was_done": "0.5 g in aqua regia, to 50 mL; plasma emission",
    "dissolution": "aqua regia",
    "solution_kind": SolutionKind.MASS_IN_VOLUME,
    "solution_unit": "mg/L",
    "blank_rule": BlankRule.JUDGE,
    "mass_low_g": 0.45,
    "mass_high_g": 0.55,
    "volume_mL": 50.0,
    "dilution_steps": [2, 5, 10, 20, 50],
    "weights_edition": "CIAAW 2024",
    "uncertainty_basis": "from control samples and certified values",
}
"""What a version of a method by aqua regia states, 0.5 g to 50 mL."""


def a_method(
    quality: Person,
    code: str = "AR-7",
    *,
    valid_from: date = date(2026, 1, 1),
    copper: Mapping[str, object] | None = None,
    ore_grade_of: str | None = None,
    more_controls: Sequence[Mapping[str, object]] = (),
    **changes: object,
) -> MethodVersion:
    """Copper and lead in soil and rock by aqua regia, judged after EPA 6010D.

    copper: more of its determination; more_controls: beside the usual ones; changes: of the version.
    """
    version = AQUA_REGIA | {"hazards": [["Hot acids", "Work under the hood."]]} | changes
    return add_method_version(
        by=quality,
        at=NOW,
        code=code,
        title="Aqua regia",
        area="geochemistry",
        valid_from=valid_from,
        version=version,
        matrices=["rock", "soil"],
        lines=[a_line("Cu", "324.754"), a_line("Pb", "220.353")],
        determinations=[{"element": "Cu", "unit": "mg/kg", **(copper or {})}, {"element": "Pb", "unit": "mg/kg"}],
        criteria=CRITERIA,
        standards=list(STANDARDS),
        controls=[
            {"role": Role.INITIAL_VERIFICATION, "material": "CHECK", "at_start": True},
            {"role": Role.CONTINUING_VERIFICATION, "material": "CHECK", "every": 5, "at_end": True},
            {"role": Role.METHOD_BLANK, "in_batch": True},
            {"role": Role.REFERENCE_MATERIAL, "material": "GC-17", "in_batch": True},
            {"role": Role.DUPLICATE, "in_batch": True},
            *[dict(control) for control in more_controls],
        ],
        ore_grade_of=ore_grade_of,
    )


CRITERIA = [
    {
        "role": role, "measure": measure, "low": low, "high": high, "reach": reach,
        "remedy": "Measure again.", "source": "EPA Method 6010D (2018), section 9", **more,
    }
    for role, measure, low, high, reach, more in [
        (Role.INITIAL_VERIFICATION, Measure.RECOVERY, 90.0, 110.0, Reach.RUN, {}),
        (Role.CONTINUING_VERIFICATION, Measure.RECOVERY, 90.0, 110.0, Reach.BRACKET, {}),
        (Role.METHOD_BLANK, Measure.TIMES_QUANTIFICATION_LIMIT, None, 0.5, Reach.BATCH, {"spares_times_blank": 10.0}),
        (Role.REFERENCE_MATERIAL, Measure.RECOVERY, 80.0, 120.0, Reach.BATCH, {}),
        (Role.DUPLICATE, Measure.DIFFERENCE, None, 20.0, Reach.BATCH, {}),
    ]
]  # fmt: skip


def a_submission(
    lab: Laboratory,
    count: int = 3,
    *,
    names: Sequence[str] | None = None,
    client: Client | None = None,
    due_on: date | None = None,
    derived: Sequence[DerivedDefinition] = (),
) -> Submission:
    """Soil samples from the client, for the one method."""
    names = names or [f"NRD014 {112 + number}.0 m" for number in range(count)]
    return receive_samples(
        by=lab.people["reception"],
        at=lab.later(),
        client=client or lab.client,
        rows=[DeliveredSample(row, name, "soil", "30") for row, name in enumerate(names, start=1)],
        methods=[lab.method],
        reference="order 26-118",
        due_on=due_on,
        derived=derived,
    )


def a_derived(lab: Laboratory, code: str = "metals", **changes: object) -> DerivedDefinition:
    """Copper and lead added up, mg/kg; changes: of what is defined, a mean over a set for example."""
    given = {
        "name": "Copper and lead",
        "reported_as": "Cu + Pb",
        "unit": "mg/kg",
        "form": DerivedForm.SUM,
        "terms": [{"element": "Cu", "unit": "mg/kg"}, {"element": "Pb", "unit": "mg/kg"}],
        "source": "arithmetic",
    } | changes
    return define_derived(by=lab.people["quality manager"], at=lab.later(), code=code, **given)  # type: ignore[arg-type]


def a_grade(lab: Laboratory) -> DerivedDefinition:
    """Copper over a set of samples, weighted by mass, mg/kg."""
    return a_derived(
        lab,
        "grade-cu",
        name="Grade of copper",
        reported_as="Cu, mean",
        form=DerivedForm.WEIGHTED_MEAN,
        terms=[{"element": "Cu", "unit": "mg/kg"}],
    )


def a_weighed_batch(lab: Laboratory, submission: Submission, count: int | None = None) -> PreparationBatch:
    """Every sample of the submission (or the first so many) prepared and weighed: 0.5 g, to 50 mL."""
    return a_batch(lab, lab.version, list(submission.samples.order_by("ordinal")[:count]))


def a_batch(lab: Laboratory, version: MethodVersion, samples: Sequence[Sample]) -> PreparationBatch:
    """Samples prepared by a method and weighed: 0.5 g, to 50 mL."""
    batch = begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=version, samples=samples, caution_read=True
    )
    record_weighings(
        by=lab.people["preparer"],
        at=lab.later(),
        batch=batch,
        balance=lab.balance,
        rows=[
            Weighed(p.label, mass_g=None if p.role == Role.METHOD_BLANK else 0.5, volume_mL=50.0)
            for p in batch.portions.order_by("tube")
        ],
    )
    return batch


def a_run(lab: Laboratory, *batches: PreparationBatch) -> Run:
    """A run of all portions of the batches; where one was read before, its cause is given."""
    return plan_run(
        by=lab.people["analyst"],
        at=lab.later(),
        reason="read again"
        if any(batch.portions.filter(positions__isnull=False).exists() for batch in batches)
        else "",
        method_version=lab.version,
        portions=[portion for batch in batches for portion in batch.portions.filter(discarded=None).order_by("tube")],
        instrument=lab.spectrometer,
    )


def a_reading_file(
    run: Run,
    *,
    contents: Mapping[str, Mapping[str, float]] | None = None,
    factors: Mapping[tuple[str, str], float] | None = None,
    words: Mapping[tuple[str, str], str] | None = None,
) -> bytes:
    """What the instrument would write of this run, without noise: CSV in the layout `LONG`.

    contents: label to element to mg/kg, where it differs from `CONTENT`; factors: on the concentration at (label,
    element); words: instead of the first reading.
    """
    lines = ["position,label,line,reading 1,reading 2"]
    for position in run.positions.select_related("lot__material", "portion").order_by("number"):
        for element, label in (("Cu", "324.754"), ("Pb", "220.353")):
            concentration = _concentration(position, element, contents or {})
            concentration *= (factors or {}).get((position.label, element), 1.0)
            signal = 10.0 + SENSITIVITY[element] * concentration
            first = (words or {}).get((position.label, element), repr(signal * 1.001))
            second = first if (position.label, element) in (words or {}) else repr(signal * 0.999)
            lines.append(f"{position.number},{position.label},{element} {label},{first},{second}")
    return "\n".join(lines).encode()


def an_imported_file(lab: Laboratory, run: Run, content: bytes | None = None) -> ReadingFile:
    """The run's file of readings, taken."""
    return import_readings(
        by=lab.people["analyst"],
        at=lab.later(),
        run=run,
        content=content or a_reading_file(run),
        filename=f"{run.number}.csv",
        layout=lab.layout,
    )


def a_token(lab: Laboratory, role: str = "analyst") -> AccessToken:
    """What a program of somebody signs in by, for a month."""
    expires_on = (lab.clock + timedelta(days=30)).date()
    name = f"program {AccessToken.objects.count() + 1}"
    return issue_access_token(by=lab.people[role], at=lab.later(), name=name, expires_on=expires_on).token


SECRET = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"
"""Of an invented second factor, base 32."""


def a_code(at: datetime, secret: str = SECRET) -> str:
    """The six digits that a device with this secret shows at a time."""
    return pyotp.TOTP(secret).at(at)


def a_second_factor(lab: Laboratory, role: str) -> SecondFactor:
    """The second factor of somebody, on since now."""
    at = lab.later()
    return turn_on_second_factor(by=lab.people[role], at=at, secret=SECRET, code=a_code(at)).factor


def an_evaluated_run(lab: Laboratory, submission: Submission, **differing: object) -> Evaluation:
    """A submission prepared, measured and evaluated; `differing` goes to `a_reading_file`."""
    run = a_run(lab, a_weighed_batch(lab, submission))
    an_imported_file(lab, run, a_reading_file(run, **differing))  # type: ignore[arg-type]
    return evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)


def a_run_with_copper_alone(lab: Laboratory) -> Evaluation:
    """A run of which one position is a solution of copper alone, 8 mg/L; it reads as 0.04 mg/L of lead as well."""
    quality = lab.people["quality manager"]
    if not Material.objects.filter(code="CU-ALONE").exists():
        _register_copper_alone(lab, quality)
        check = {"role": Role.INTERFERENCE_CHECK, "material": "CU-ALONE", "at_start": True}
        a_method(quality, valid_from=date(2026, 2, 1), more_controls=[check])
    lab.version = lab.method.versions.latest("version")
    run = a_run(lab, a_weighed_batch(lab, a_submission(lab, 1)))
    alone = run.positions.get(role=Role.INTERFERENCE_CHECK).label
    an_imported_file(lab, run, a_reading_file(run, contents={alone: {"Cu": 800.0, "Pb": 4.0}}))
    return evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run)


def _register_copper_alone(lab: Laboratory, quality: Person) -> None:
    material = register_material(
        by=quality, at=lab.later(), code="CU-ALONE", name="copper alone, invented", kind=MaterialKind.STANDARD
    )
    register_lot(
        by=quality, at=lab.later(), number="L-2500", material=material, received_on=date(2026, 1, 5),
        expires_on=date(2027, 1, 5), contents=[{"element": "Cu", "value": 8.0, "unit": "mg/L", "u": 0.02}],
    )  # fmt: skip


def approved(lab: Laboratory, submission: Submission) -> Submission:
    """Everything that waits for review in the submission, approved, each result that asks for a look by itself."""
    waiting = waiting_for_review(submission)
    approve_results(by=lab.people["reviewer"], at=lab.later(), results=waiting, looked_at=waiting, password=PASSWORD)
    return submission


def a_certificate(lab: Laboratory, submission: Submission, *, draw: bool = True) -> Certificate:
    """The first issue of the submission's certificate."""
    certificate = issue_certificate(
        by=lab.people["issuer"], at=lab.later(), submission=submission, rule_set=lab.rule_set
    )
    if draw:
        publish_certificate(by=lab.people["issuer"], at=lab.later(), certificate=certificate)
    return certificate


def a_reader(lab: Laboratory, email: str = "brennan@ridge.example", sign_in: str = "brennan") -> Person:
    """Somebody of the laboratory's first client, who reads on the portal."""
    return enrol_person(
        by=lab.people["laboratory manager"],
        at=NOW,
        sign_in=sign_in,
        full_name="Oda Brennan",
        password=PASSWORD,
        roles=["client"],
        client=lab.client,
        email=email,
    )


def _concentration(position: object, element: str, contents: Mapping[str, Mapping[str, float]]) -> float:
    """mg/L in the solution at a position."""
    code = position.lot.material.code if position.lot else ""  # type: ignore[attr-defined]
    if code in STANDARDS:
        return STANDARDS[code]
    if code == "CHECK":
        return 5.0
    if position.role == Role.METHOD_BLANK:  # type: ignore[attr-defined]
        return contents.get(position.label, {}).get(element, 0.0)  # type: ignore[attr-defined]
    label = position.label.removesuffix(" D")  # type: ignore[attr-defined]
    mg_per_kg = contents.get(label, CONTENT)[element]
    return mg_per_kg * 0.0005 / 0.050 / position.dilution  # type: ignore[attr-defined]


def a_line(element: str, label: str) -> dict[str, Any]:
    """A line of a method: straight, weighted by 1/x², to 10 mg/L."""
    return {
        "element": element,
        "label": label,
        "rank": 1,
        "curve": Curve.LINE,
        "weighting": Weighting.INVERSE_X2,
        "range_top": 10.0,
        "detection_limit": 0.01,
        "quantification_limit": 0.05,
        "u_floor": 0.003,
        "u_relative": 0.02,
    }


def a_lot_of(
    quality: Person, code: str, number: str, kind: MaterialKind, contents: Sequence[Mapping[str, object]]
) -> Lot:
    """A new material with its first lot, good for the year 2026."""
    material = register_material(by=quality, at=NOW, code=code, name=f"{code}, invented", kind=kind)
    return register_lot(
        by=quality, at=NOW, number=number, material=material, received_on=date(2026, 1, 5),
        expires_on=date(2027, 1, 5), contents=contents,
    )  # fmt: skip


def _materials(quality: Person) -> None:
    for place, (code, level) in enumerate(STANDARDS.items()):
        a_lot_of(quality, code, f"L-{2200 + place}", MaterialKind.STANDARD, _both(level, "mg/L"))
    a_lot_of(quality, "CHECK", "L-2300", MaterialKind.STANDARD, _both(5.0, "mg/L"))
    a_lot_of(
        quality,
        "GC-17",
        "L-2400",
        MaterialKind.REFERENCE_MATERIAL,
        [
            {"element": e, "value": v, "unit": "mg/kg", "u": v * 0.02, "dissolution": "aqua regia"}
            for e, v in CONTENT.items()
        ],
    )


def _both(level: float, unit: str) -> list[dict[str, object]]:
    return [{"element": element, "value": level, "unit": unit} for element in CONTENT]


def _equipment(quality: Person, code: str, kind: EquipmentKind) -> Equipment:
    equipment = register_equipment(by=quality, at=NOW, code=code, name=f"{kind} {code}", kind=kind)
    record_equipment_check(
        by=quality, at=NOW, equipment=equipment, done_on=date(2026, 11, 1), due_on=date(2027, 2, 1),
        what="calibration", passed=True,
    )  # fmt: skip
    return equipment
