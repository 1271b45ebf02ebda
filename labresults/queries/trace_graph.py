"""A trace as records and what ties them: the one picture that the page's links, JSON and PROV are made of."""

from collections.abc import Iterator
from typing import Any

from labresults.models import ControlOutcome
from labresults.queries.trace_measured import Measured
from labresults.queries.trace_pages import TracePage
from labresults.queries.trace_records import Graph, Record, TieKind


def graph_of(page: TracePage) -> Graph:
    """The records that a result stands on, and that stand on it; no query."""
    drawn = _Everything(page)
    drawn.result()
    drawn.evaluation()
    drawn.curve()
    drawn.preparation()
    drawn.sample()
    drawn.decisions()
    for line in page.trace.printed:
        drawn.printed(line)
    return drawn.graph()


class _Everything(Measured):
    """Records from the printed number to the request."""

    def preparation(self) -> None:
        """The portion with its weighing, batch, reagents, balance and drying."""
        portion, weighing = self.page.result.position.portion, self.found.weighing
        if portion is None:
            return
        batch, page = portion.batch, ("batch", portion.batch.number, "")
        key = self.entity(self.portion_key, "test portion", portion.label, page=page, tube=portion.tube)
        prepared = self.act(
            f"batch.{batch}", "preparation", f"batch {batch}", batch.made_by, page=page,
            subject=("batch", batch.number), at=batch.made_at,
        )  # fmt: skip
        self.tie(TieKind.MADE_BY, key, prepared)
        for lot in self.found.batch_reagents:
            self.tie(TieKind.USED, prepared, self.lot(lot, "reagent"), "reagent")
        if weighing:
            self.weighing(weighing, batch.number, page)
        if dried := self.found.dried:
            sample = self.page.result.sample
            shown = ("sample", sample.number, "") if sample else None
            moisture = self.entity(
                f"moisture.{dried.pk}", "moisture", f"moisture of {sample}", page=shown, loss_percent=dried.loss_percent
            )
            drying = self.act(
                f"drying.{dried.pk}", "drying", f"drying of {sample}", dried.made_by, page=shown,
                subject=("mass losses", str(dried.kind)), at=dried.made_at, tare_g=dried.tare_g,
                before_g=dried.before_g, after_g=dried.after_g,
            )  # fmt: skip
            self.tie(TieKind.MADE_BY, moisture, drying)
            self.tie(TieKind.USED, self.evaluated, moisture, "moisture")

    def weighing(self, weighing: Any, batch: str, page: Any) -> None:
        """What was weighed, on which balance, and the check that stood."""
        name = self.act(
            f"weighing.{weighing.pk}", "weighing", f"weighing of {self.page.result.position.portion.label}",
            weighing.made_by, page=page, subject=("batch", batch), at=weighing.made_at, mass_g=weighing.mass_g,
            volume_mL=weighing.volume_mL, aliquot_mL=weighing.aliquot_mL, solvent_g=weighing.solvent_g,
            dilution=weighing.dilution, state=weighing.state, moisture_percent=weighing.moisture_percent,
            observed_at=weighing.observed_at.isoformat(),
        )  # fmt: skip
        self.tie(TieKind.MADE_BY, self.portion_key, name)
        if weighing.balance:
            code, check = weighing.balance.code, self.found.balance_check
            shown = ("equipment-item", code, "")
            balance = self.entity(f"equipment.{code}", "balance", weighing.balance, page=shown)
            self.tie(TieKind.USED, name, balance, "balance")
            if check:
                checked = self.entity(
                    f"check.{check.pk}", "check of a balance", f"{check.what}, {check.done_on}", page=shown,
                    subject=("equipment", code), at=check.made_at, passed=check.passed, due_on=check.due_on,
                )  # fmt: skip
                self.tie(TieKind.USED, name, checked, "check")
                self.tie(TieKind.OF, checked, self.person(check.made_by))

    def sample(self) -> None:
        """The sample and the request that came with it."""
        sample = self.page.result.sample
        if sample is None:
            return
        delivery = sample.submission
        key = self.entity(
            f"sample.{sample}", "sample", sample, page=("sample", sample.number, ""), subject=("sample", sample.number),
            client_identification=sample.client_identification, matrix=sample.matrix.name,
        )  # fmt: skip
        asked = self.entity(
            f"request.{delivery}", "request", f"request of {delivery}", page=("submission", delivery.number, ""),
            subject=("submission", delivery.number), at=delivery.received_at, client=delivery.client.name,
        )  # fmt: skip
        received = self.act(
            f"receipt.{delivery}", "receipt", f"receipt of {delivery}", delivery.received_by,
            page=("submission", delivery.number, ""), subject=("submission", delivery.number), at=delivery.received_at,
        )  # fmt: skip
        self.tie(TieKind.MADE_BY, key, received)
        self.tie(TieKind.USED, received, asked, "request")
        self.tie(TieKind.FROM, self.portion_key, key)
        if self.portion_key:
            self.tie(TieKind.USED, f"batch.{self.page.result.position.portion.batch}", key, "sample")

    def decisions(self) -> None:
        """The review that speaks of it, and the control samples that were looked at."""
        review = self.found.review.review if self.found.review else None
        subject = ("submission", self.page.result.sample.submission.number) if self.page.result.sample else None
        name = ""
        if review:
            name = self.act(
                f"review.{review.pk}", "review", f"{review.decision}", review.made_by, subject=subject,
                at=review.made_at, meaning=review.meaning, values_sha256=review.values_sha256 or None,
                page=("review", self.page.result.sample.submission.number, "") if subject else None,
            )  # fmt: skip
            self.tie(TieKind.USED, name, self.key, "reviewed")
        for outcome in self.page.beside:
            key = self.control(outcome)
            self.tie(TieKind.MADE_BY, key, self.evaluated)
            self.tie(TieKind.USED, name, key, "control sample")

    def control(self, outcome: ControlOutcome) -> str:
        """A judged control sample."""
        run, at = self.found.evaluation.run, outcome.position.number
        return self.entity(
            f"control.{outcome.pk}", "control sample", f"{outcome.position.role} at position {at}",
            page=("run", run.number, f"?at={at}#p{at}"), measure=outcome.measure, observed=outcome.observed,
            low=outcome.low, high=outcome.high, verdict=outcome.verdict,
        )  # fmt: skip

    def printed(self, line: Any) -> None:
        """A printed number of this result."""
        key, issued = self.printed_number(line)
        self.tie(TieKind.FROM, key, self.key)
        self.tie(TieKind.USED, issued, self.key, "result")


def of_steps(page: TracePage, graph: Graph) -> Iterator[Record]:
    """The record that each step of the arithmetic takes its numbers from; no query."""
    found, result = page.trace, page.result
    run, version = found.evaluation.run, found.evaluation.run.method_version
    evaluated = f"evaluation.{run.number}.{found.evaluation.version}"
    curve = f"calibration.{found.calibration.pk}" if found.calibration else ""
    keys = {
        "reading": f"reading.{run.number}.{result.position.number}.{str(result.line).replace(' ', '-')}",
        "curve": curve,
        "method": f"method.{version.method.code}.{version.version}",
        "weighing": f"weighing.{found.weighing.pk}" if found.weighing else "",
        "moisture": f"drying.{found.dried.pk}" if found.dried else "",
        "batch": f"batch.{result.position.portion.batch}" if result.position.portion else "",
        "run": f"run.{run.number}",
    }
    for step in found.steps:
        kind = next((kind for begins, kind in _STAND_ON if step.what.startswith(begins)), "")
        if kind == "weighing" and step.note == "at the instrument":
            kind = "run"
        if kind == "moisture" and not keys["moisture"]:
            kind = "weighing"
        yield graph.records.get(keys.get(kind, ""), graph.records[evaluated])


_STAND_ON = (
    ("The reading", "reading"),
    ("Through the curve", "curve"),
    ("Ratio to the internal standard", "run"),
    ("May be carried over", "run"),
    ("Drift", "run"),
    ("Less the drift", "run"),
    ("Less what others pretend", "method"),
    ("Less the method blank", "batch"),
    ("Not applied by this method version", "method"),
    ("Times the", "weighing"),
    ("Divided by the test portion", "weighing"),
    ("On the dry basis", "moisture"),
    ("As received", "moisture"),
    ("As ", "method"),
    ("In the reporting unit", "method"),
    ("Uncertainty", "method"),
    ("Standard uncertainty", "method"),
    ("Expanded uncertainty", "method"),
)
"""With what a step's name begins, and where its numbers come from; everything else is the evaluation's own."""
