"""What a result was measured by, as records: evaluation, readings, curve, standards and what those were made from."""

from typing import Any

from labresults.models import Lot
from labresults.queries.trace_pages import TracePage
from labresults.queries.trace_records import Gathered, RecordKind, TieKind


class Measured(Gathered):
    """Records from the result to the lots of its standards."""

    def __init__(self, page: TracePage) -> None:
        super().__init__(page.trace.events)
        self.page, self.found = page, page.trace
        result, run = page.result, page.trace.evaluation.run
        self.key = f"result.{result.pk}"
        self.evaluated = f"evaluation.{run.number}.{page.trace.evaluation.version}"
        self.line = str(result.line).replace(" ", "-")
        self.curve_key = f"calibration.{page.trace.calibration.pk}" if page.trace.calibration else ""
        self.portion_key = f"portion.{result.position.portion_id}" if result.position.portion else ""

    def result(self) -> None:
        """The result that was asked about, and what else was measured of the same."""
        result, found = self.page.result, self.found
        self.entity(
            self.key, "result", f"{result.reported_as} in {result.sample or result.position.label}",
            page=("trace", result.pk, ""), value=result.value, unit=result.unit, basis=result.basis,
            line=str(result.line), u=result.u, expanded_u=result.expanded_u, coverage_factor=result.coverage_factor,
            detection_limit=result.detection_limit, quantification_limit=result.quantification_limit,
            upper_limit=result.upper_limit, in_solution=result.solution, why_no_value=result.why_no_value or None,
        )  # fmt: skip
        for other in found.candidates:
            key = f"result.{other.pk}"
            self.entity(
                key, "result", f"{other.reported_as} in {other.sample_id and result.sample}",
                page=("trace", other.pk, ""), value=other.value, unit=other.unit, line=str(other.line),
                run=str(other.evaluation.run),
            )  # fmt: skip
            if found.selection and found.selection.result_id == result.pk and key != self.key:
                self.tie(TieKind.RELATED, self.key, key, "not selected")

    def evaluation(self) -> None:
        """The evaluation, with the readings that it used, its file, instrument, method version and program."""
        found, run = self.found, self.found.evaluation.run
        evaluation, position = found.evaluation, self.page.result.position
        at = ("run", run.number, f"?at={position.number}#p{position.number}")
        self.act(
            self.evaluated, "evaluation", f"evaluation {evaluation.version} of {run}", evaluation.made_by,
            page=("run", run.number, f"?evaluation={evaluation.version}"), subject=("run", run.number),
            at=evaluation.made_at, inputs_sha256=evaluation.inputs_sha256, outputs_sha256=evaluation.outputs_sha256,
            edition_of_rules=evaluation.rules, reason=evaluation.reason or None,
        )  # fmt: skip
        self.tie(TieKind.MADE_BY, self.key, self.evaluated)
        self.tie(TieKind.OF, self.key, f"person.{evaluation.made_by.username}")
        version, name = run.method_version, f"method.{run.method_version.method.code}.{run.method_version.version}"
        self.entity(
            name, "method version", version, page=("method", version.method.code, f"?version={version.version}"),
            subject=("method", str(version)), at=version.made_at, uncertainty=version.uncertainty_basis,
        )  # fmt: skip
        self.tie(TieKind.BY_PLAN, self.evaluated, name, f"person.{evaluation.made_by.username}")
        program = self.add(
            "program", RecordKind.PROGRAM, "program", f"labresults {evaluation.software}", platform=evaluation.platform
        )
        self.tie(TieKind.DONE_BY, self.evaluated, program)
        self.act(f"run.{run.number}", "run", run, run.made_by, page=at, subject=("run", run.number), at=run.made_at)
        instrument = f"equipment.{run.instrument.code}"
        self.entity(instrument, "instrument", run.instrument, page=("equipment-item", run.instrument.code, ""))
        self.tie(TieKind.USED, f"run.{run.number}", instrument, "instrument")
        if found.reading:
            reading = self.reading(position.number, "reading")
            self.tie(TieKind.USED, self.evaluated, reading, "reading")
            self.tie(TieKind.FROM, self.key, reading)
            self.tie(TieKind.FROM, reading, self.portion_key)

    def reading(self, number: int, what: str, **more: Any) -> str:
        """A reading and its file; a standard that nothing was read of is there too."""
        run, row = self.found.evaluation.run, self.found.readings.get(number)
        key = f"reading.{run.number}.{number}.{self.line}"
        facts = {"mean": None, "file row": None}
        if row:
            facts = {
                "replicates": ", ".join(row.replicates), "mean": row.mean, "sd": row.sd, "unit": row.file.unit,
                "file_row": row.file_row, "saturated": row.saturated, "missing": row.missing,
            }  # fmt: skip
        self.entity(
            key, what, f"position {number} of {run}, {self.page.result.line}",
            page=("run", run.number, f"?at={number}#p{number}"), subject=("run", run.number),
            at=row.file.made_at if row else run.made_at, **facts, **more,
        )  # fmt: skip
        self.tie(TieKind.MADE_BY, key, f"run.{run.number}")
        if row:
            file = row.file
            name = f"file.{file.sha256[:16]}"
            self.entity(
                name, "file of readings", file.name, page=("run", run.number, ""), sha256=file.sha256,
                size_bytes=file.size_bytes, layout=str(file.layout), measured_from=file.measured_from.isoformat(),
                measured_to=file.measured_to.isoformat(), subject=("run", run.number), at=file.made_at,
            )  # fmt: skip
            self.tie(TieKind.FROM, key, name)
            self.tie(TieKind.OF, name, self.person(file.made_by))
        return key

    def curve(self) -> None:
        """The curve, its standards, used or rejected, and their lots with what those were made from."""
        curve = self.found.calibration
        if curve is None:
            return
        run = self.found.evaluation.run
        self.entity(
            self.curve_key, "calibration", f"curve of {self.page.result.line}, block {curve.block}, {run}",
            page=("run", run.number, ""), curve=curve.curve, weighting=curve.weighting, b0=curve.b0, b1=curve.b1,
            b2=curve.b2, r=curve.r, subject=("run", run.number), at=self.found.evaluation.made_at,
            residual_sd=curve.residual_sd, points=curve.count, problem=curve.problem or None,
        )  # fmt: skip
        self.tie(TieKind.MADE_BY, self.curve_key, self.evaluated)
        self.tie(TieKind.FROM, self.key, self.curve_key)
        for row in self.page.curve:
            reading = self.reading(
                row.position.number, "reading of a standard", standard=row.position.label, made=row.made, read=row.read,
                used_for_the_curve=row.used,
            )  # fmt: skip
            self.tie(TieKind.USED, self.evaluated, reading, "standard" if row.used else "rejected standard")
            if row.used:
                self.tie(TieKind.FROM, self.curve_key, reading)
            if row.position.lot_id:
                self.tie(TieKind.FROM, reading, f"lot.{row.position.lot}")
        numbers = {lot.pk: lot.number for lot in self.found.lots}
        for lot in self.found.lots:
            self.lot(lot, "standard")
            if lot.made_from_id in numbers:
                self.tie(TieKind.FROM, f"lot.{lot}", f"lot.{numbers[lot.made_from_id]}")

    def lot(self, lot: Lot, what: str) -> str:
        """A lot, with who entered it."""
        key = self.entity(
            f"lot.{lot}", what, lot, page=("lot", lot.number, ""), subject=("lot", lot.number), at=lot.made_at,
            material=lot.material.name, expires_on=lot.expires_on, certificate=lot.certificate or None,
        )  # fmt: skip
        self.tie(TieKind.OF, key, self.person(lot.made_by))
        return key
