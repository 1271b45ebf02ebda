"""What a scanned label opens: a sample at the station where the person works, anything else at its own page."""

from collections.abc import Callable, Iterable
from datetime import date

from labresults.models import Position, Sample, TestPortion
from labresults.queries.find import exactly
from labresults.queries.found import Found
from labresults.queries.issued import issues_of_sample
from labresults.queries.methods import current_versions
from labresults.queries.waiting import stations_of_sample
from labresults.terms import Role, Station

_WORKS_AT = {
    "reception": Station.RECEPTION,
    "preparer": Station.PREPARATION,
    "analyst": Station.RUNS,
    "reviewer": Station.REVIEW,
    "issuer": Station.CERTIFICATES,
}
"""The station of each role; the others have none, and see the sample itself."""


def opened_by(code: str, roles: Iterable[str], today: date) -> Found | None:
    """What a scanned code opens for somebody with these roles; None when nothing has this number.

    A sample opens at the person's station, and with several stations at the one where it waits. At most twelve queries.
    """
    thing = exactly(code)
    if thing is None or thing.kind != "sample":
        return thing
    sample = Sample.objects.select_related("submission").get(number=thing.number)
    if sample.struck_at:
        return thing
    station = _station(sample, [_WORKS_AT[role] for role in roles if role in _WORKS_AT])
    show = _SHOWN_AT.get(station) if station else None
    return (show(sample, today) if show else None) or thing


def _station(sample: Sample, mine: list[Station]) -> Station | None:
    """The person's station, or of several the first on the path at which the sample waits."""
    if len(mine) <= 1:
        return mine[0] if mine else None
    waits = {station for station, _ in stations_of_sample(sample)}
    return next((station for station in Station if station in waits and station in mine), None)


def _at_reception(sample: Sample, today: date) -> Found:
    return _opened(sample, "submission", sample.submission.number, then=f"#s{sample.number}")


def _at_preparation(sample: Sample, today: date) -> Found | None:
    """Its tube in which nothing is recorded yet; else the batch to begin with it; else the newest tube that has it."""
    tubes = TestPortion.objects.filter(role=Role.SAMPLE, subsample__sample=sample, discarded__isnull=True)
    tubes = tubes.select_related("batch__method_version__method").order_by("-pk")
    open_tube = tubes.filter(weighings__isnull=True).first()
    if open_tube is None:
        waits = [code for station, code in stations_of_sample(sample) if station == Station.PREPARATION]
        in_force = current_versions(today) if waits else {}
        code = next((code for code in waits if code in in_force), None)
        if code:
            return _opened(sample, "begin-batch", code, then=f"?with={sample.number}")
    tube = open_tube or tubes.first()
    return _opened(sample, "batch", tube.batch.number, then=f"#tube-{tube.tube}") if tube else None


def _at_runs(sample: Sample, today: date) -> Found | None:
    """Where it was measured last, else the run to plan for a method with which it waits to be measured."""
    places = Position.objects.filter(role=Role.SAMPLE, portion__subsample__sample=sample)
    place = places.select_related("run").order_by("-pk").first()
    if place:
        return _opened(sample, "run", place.run.number, then=f"#p{place.number}")
    waits = [code for station, code in stations_of_sample(sample) if station == Station.RUNS]
    in_force = current_versions(today) if waits else {}
    code = next((code for code in waits if code in in_force), None)
    return _opened(sample, "plan-run", then=f"?method={code}") if code else None


def _at_review(sample: Sample, today: date) -> Found:
    return _opened(sample, "review", sample.submission.number, then=f"#s{sample.number}")


def _at_certificates(sample: Sample, today: date) -> Found:
    """The newest certificate that carries it, or the page on which its submission gets one."""
    issues = issues_of_sample(sample)
    if issues:
        newest = max(issues, key=lambda row: (row.made_at, row.issue))
        return _opened(sample, "certificate", newest.number, newest.issue)
    return _opened(sample, "certify", sample.submission.number)


_SHOWN_AT: dict[Station, Callable[[Sample, date], Found | None]] = {
    Station.RECEPTION: _at_reception,
    Station.PREPARATION: _at_preparation,
    Station.RUNS: _at_runs,
    Station.REVIEW: _at_review,
    Station.CERTIFICATES: _at_certificates,
}


def _opened(sample: Sample, page: str, *arguments: object, then: str = "") -> Found:
    return Found("sample", sample.number, sample.client_identification, page, arguments, then=then)
