"""A night's run from the bench to the reviewer, with at most one thing wrong in it, and all that was seen of it."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any

from labresults.actions.batches import begin_batch
from labresults.actions.delivery import receive_samples
from labresults.actions.evaluation import evaluate_run
from labresults.actions.readings import import_readings
from labresults.actions.review import approve_results
from labresults.actions.runs import plan_run
from labresults.actions.weighings import Weighed, record_weighings
from labresults.acts import BadInput, Refusal
from labresults.models import Evaluation, Layout, PreparationBatch, Run, Submission
from labresults.queries.results import waiting_for_review
from labresults.queries.run_failures import disagreements
from labresults.queries.run_order import Plan, run_list_of
from labresults.queries.run_pages import run_page
from labresults.readers.delivery import DeliveredSample
from labresults.terms import Basis, Mark, Repeat, Role, Verdict
from tests.builders import PASSWORD, Laboratory
from tests.journeys.faults.instrument import CONTENTS, MASS_G, VOLUME_ML, Signals, Tubes, read, true_solutions
from tests.journeys.faults.laboratory import equipped


class Caught(StrEnum):
    """Where in the night something is seen."""

    BENCH = "when the portions are recorded"
    PLAN = "when the run is planned"
    FILE = "when the file is taken"
    EVALUATION = "when the run is evaluated"
    RUN = "on the page of the run"
    REVIEW = "at the signature"


@dataclass(frozen=True)
class Finding:
    """What was seen: where in the night, at which label and line (both may be empty), in which words."""

    caught: Caught
    words: str
    at: str = ""
    line: str = ""


def as_it_is(found: Any) -> Any:
    """Nothing goes wrong here."""
    return found


@dataclass(frozen=True)
class Fault:
    """One thing that goes wrong; each hook is given what is right and returns what there is in its place.

    expired: materials of which the only lot is too old. lots: more before the night. method, lines: what differs of the
    method. basis: that is asked for. weighed: by label, what differs of its record. order: of the run list, given the
    key of each place by its label. dilutions: at the instrument, by label. tubes: what stands in the cups. signals:
    what the plasma gives. text: what comes out as file. layout: it is read by. left_out: (label, line) of curves.
    approves: the results may be signed all the same, since no check speaks against them.
    """

    what: str
    caught: Caught
    words: str
    at: str = ""
    line: str = ""
    expired: Sequence[str] = ()
    lots: Callable[[Laboratory], object] = as_it_is
    method: Mapping[str, Any] = field(default_factory=dict)
    lines: Mapping[str, Mapping[str, Any] | None] = field(default_factory=dict)
    basis: Basis = Basis.AS_RECEIVED
    weighed: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    order: Callable[[dict[str, str]], Sequence[str]] | None = None
    reason: str = ""
    dilutions: Mapping[str, float] = field(default_factory=dict)
    tubes: Callable[[Tubes], Tubes | None] = as_it_is
    signals: Callable[[Signals], Signals | None] = as_it_is
    text: Callable[[str], str | bytes] = as_it_is
    layout: Callable[[Laboratory], Layout] | None = None
    filename: str = "night.csv"
    started: datetime = datetime(2026, 11, 16, 20, 0)
    left_out: Sequence[tuple[str, str]] = ()
    approves: bool = False

    def __str__(self) -> str:
        return self.what

    def is_seen(self, findings: Sequence[Finding]) -> bool:
        """Whether it was caught at its place and in its words."""
        return any(
            finding.caught is self.caught
            and (not self.at or finding.at == self.at)
            and (not self.line or finding.line == self.line)
            and re.search(self.words, finding.words)
            for finding in findings
        )


@dataclass(frozen=True)
class Night:
    """What became of a night: its evaluation, where it came so far, and everything that was seen on the way."""

    findings: tuple[Finding, ...]
    evaluation: Evaluation | None = None

    def values(self, element: str) -> dict[str, float | None]:
        """What was found in the samples by the line that ranks first, mg/kg, by label."""
        assert self.evaluation is not None
        results = self.evaluation.results.filter(is_candidate=True, element=element, rank=1)
        return dict(results.values_list("position__label", "value"))


def caught(lab: Laboratory, fault: Fault) -> Night:
    """The night with this fault, which is seen at its place and in its words, and signed by nobody who should not."""
    night = a_night(lab, fault)
    seen = "\n".join(f"{f.caught}: {f.at} {f.line}: {f.words}" for f in night.findings)
    assert fault.is_seen(night.findings), f"{fault}, {fault.caught}, was not seen. What was seen:\n{seen}"
    if fault.caught in (Caught.RUN, Caught.REVIEW):
        signed = not any(finding.caught is Caught.REVIEW for finding in night.findings)
        assert signed == fault.approves, f"{fault}: {'signed' if signed else 'not signed'}. What was seen:\n{seen}"
    return night


NO_FAULT = Fault("nothing", Caught.RUN, "")


def a_night(lab: Laboratory, fault: Fault = NO_FAULT) -> Night:
    """Let the night go its way until somebody is refused or the results are signed."""
    equipped(lab, fault.method, fault.lines, fault.expired)
    fault.lots(lab)
    submission = _received(lab, fault)
    batch = _begun(lab, submission)
    place = Caught.BENCH
    try:
        _recorded(lab, batch, fault)
        place = Caught.PLAN
        run = planned(lab, batch, fault)
        place = Caught.FILE
        taken(lab, run, written(run, fault), fault)
        place = Caught.EVALUATION
        evaluation = _evaluated(lab, run, fault)
    except Refusal as refusal:
        return Night(tuple(_refused(place, refusal)))
    return Night((*seen_of(run), *_signed(lab, submission)), evaluation)


def waiting_run(lab: Laboratory, *, again: bool = False) -> Run:
    """A run that waits for its file. again: in a laboratory that had a night before."""
    if not again:
        equipped(lab, {}, {})
    batch = _begun(lab, _received(lab, NO_FAULT))
    _recorded(lab, batch, NO_FAULT)
    return planned(lab, batch)


def _begun(lab: Laboratory, submission: Submission) -> PreparationBatch:
    return begin_batch(
        by=lab.people["preparer"], at=lab.later(), method_version=lab.version,
        samples=list(submission.samples.order_by("ordinal")), caution_read=True,
    )  # fmt: skip


def _received(lab: Laboratory, fault: Fault) -> Submission:
    names = [f"NRD021 {112 + number}.0 m" for number in range(len(CONTENTS))]
    return receive_samples(
        by=lab.people["reception"], at=lab.later(), client=lab.client, methods=[lab.method], basis=fault.basis,
        rows=[DeliveredSample(row, name, "soil") for row, name in enumerate(names, start=1)],
    )  # fmt: skip


def _recorded(lab: Laboratory, batch: PreparationBatch, fault: Fault) -> None:
    rows = []
    for portion in batch.portions.order_by("tube"):
        usual = {"mass_g": None if portion.role == Role.METHOD_BLANK else MASS_G, "volume_mL": VOLUME_ML}
        rows.append(Weighed(portion.label, **(usual | fault.weighed.get(portion.label, {}))))
    record_weighings(by=lab.people["preparer"], at=lab.later(), batch=batch, balance=lab.balance, rows=rows)


def planned(lab: Laboratory, batch: PreparationBatch, fault: Fault = NO_FAULT) -> Run:
    """The run of the batch as proposed, or in the fault's order."""
    portions = list(batch.portions.select_related("batch", "lot__material").order_by("tube"))
    at, dilutions = lab.later(), {p.pk: fault.dilutions[p.label] for p in portions if p.label in fault.dilutions}
    order = None
    if fault.order:
        places = run_list_of(Plan(lab.version, portions, lab.spectrometer, dilutions), at).places
        order = fault.order({place.label: str(place.key) for place in places})
    return plan_run(
        by=lab.people["analyst"], at=at, reason=fault.reason, method_version=lab.version, portions=portions,
        instrument=lab.spectrometer, dilutions=dilutions, order=order,
        causes=dict.fromkeys(dilutions, "rich by its colour"), kinds=dict.fromkeys(dilutions, Repeat.NONE),
    )  # fmt: skip


def written(run: Run, fault: Fault = NO_FAULT) -> bytes:
    """What the instrument writes of a run."""
    positions = list(run.positions.select_related("lot__material", "added_lot__material").order_by("number"))
    tubes = true_solutions(positions)
    tubes = fault.tubes(tubes) or tubes
    signals = read(tubes, [str(line.line) for line in run.method_version.lines.order_by("pk")])
    signals = fault.signals(signals) or signals
    rows = ["position,label,time,line,reading 1,reading 2,reading 3"]
    for position in positions:
        time = (fault.started + timedelta(minutes=3 * position.number)).isoformat(" ")
        for line in dict.fromkeys(line for _, line in signals):
            readings = [r if isinstance(r, str) else f"{r:.4f}" for r in signals[position.label, line]]
            rows.append(",".join([str(position.number), position.label, time, line, *readings]))
    content = fault.text("\n".join([*rows, ""]))
    return content if isinstance(content, bytes) else content.encode()


def taken(lab: Laboratory, run: Run, content: bytes, fault: Fault = NO_FAULT) -> None:
    """The file, taken for its run."""
    layout = fault.layout(lab) if fault.layout else lab.layout
    import_readings(
        by=lab.people["analyst"], at=lab.later(), run=run, content=content, filename=fault.filename, layout=layout
    )


def _evaluated(lab: Laboratory, run: Run, fault: Fault) -> Evaluation:
    left_out = [(run.positions.get(label=label).number, line) for label, line in fault.left_out]
    reason = "the standard was found to be old" if left_out else ""
    return evaluate_run(by=lab.people["analyst"], at=lab.later(), run=run, left_out=left_out, reason=reason)


def _refused(place: Caught, refusal: Refusal) -> list[Finding]:
    problems = refusal.problems if isinstance(refusal, BadInput) else ()
    return [Finding(place, str(refusal)), *(Finding(place, str(problem)) for problem in problems)]


def seen_of(run: Run) -> list[Finding]:
    """Everything that the page of an evaluated run says against it."""
    page = run_page(run.number)
    assert page.evaluated is not None
    assert page.evaluation is not None
    labels = {position.number: position.label for position in page.positions}
    failed = [o for o in page.outcomes if o.verdict == Verdict.OUTSIDE]
    found = [Finding(Caught.RUN, o.why, o.position.label, str(o.line)) for o in failed]
    found += [Finding(Caught.RUN, curve.problem, line=curve.line) for curve in page.curves if curve.problem]
    found += [
        Finding(Caught.RUN, words, line=quality.line)
        for quality in page.evaluated.qualities
        for words in (quality.shrunk, quality.unsupported)
        if words
    ]
    told = {Mark.NO_VALUE, Mark.OVER_RANGE, Mark.CARRY_OVER}
    for result in page.evaluation.results.select_related("position", "line").order_by("pk"):
        if told & {Mark(mark) for mark in result.marks}:
            words = ". ".join([*result.marks, result.why_no_value])
            found.append(Finding(Caught.RUN, words, result.position.label, str(result.line)))
    for each in disagreements(page):
        words = f"its lines differ by {each.disagreement.difference_percent:.4g} %"
        found.append(Finding(Caught.RUN, words, each.position.label, each.disagreement.chosen))
    return found + [
        Finding(Caught.RUN, f"Again, {cause}: {why}", labels[number], line or "")
        for number, line, cause, _, _, why in page.evaluation.repeats
    ]


def _signed(lab: Laboratory, submission: Submission) -> list[Finding]:
    """Sign everything that waits, as a reviewer would who accepts each result that asks for a look without one."""
    waiting = waiting_for_review(submission)
    try:
        approve_results(
            by=lab.people["reviewer"], at=lab.later(), results=waiting, looked_at=waiting, password=PASSWORD
        )
    except Refusal as refusal:
        return [Finding(Caught.REVIEW, str(refusal))]
    return []
