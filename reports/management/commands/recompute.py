"""Compute everything again from the stored readings: evaluations, and what certificates print of them."""

from argparse import ArgumentParser
from collections.abc import Iterable
from itertools import chain, islice
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db.models import Q, QuerySet

from labresults.management.recomputing import differences
from labresults.models import Evaluation
from reports.models import Certificate, CertificateInput, CertificateLine
from reports.queries.composed_again import printed_differences
from reports.queries.derived_check import derived_differs

MOST_SAID = 20
"""So many differences of one evaluation or certificate are named; where more differ, it is said."""


class Command(BaseCommand):
    help = (
        "Compute evaluations and printed strings again from what is stored, and name what differs by sample, analyte,"
        " old and new. Nothing is written."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "what",
            nargs="*",
            help="Numbers of runs (R26-0001) and certificates (C26-0001, or C26-0001/2 for one issue), with or without"
            " the word run or certificate before them; all of them when none is given.",
        )
        parser.add_argument("--check", action="store_true", required=True, help="Compare, write nothing.")

    def handle(self, *args: Any, **options: Any) -> None:
        named = [word for word in options["what"] if word not in ("all", "run", "certificate")]
        certificates = _certificates([word for word in named if word.startswith("C")], everything=not named)
        runs = [word for word in named if not word.startswith("C")]
        evaluations = _evaluations(runs, certificates, everything=not named)
        wrong = [line for row in evaluations for line in _most(f"{row.run}", differences(row))]
        for certificate in certificates:
            found = chain(printed_differences(certificate), derived_differs(certificate))
            wrong += _most(str(certificate), found)
        if wrong:
            raise CommandError("\n".join(wrong))
        self.stdout.write(f"{len(evaluations)} evaluations computed again: each the same.")
        if certificates:
            self.stdout.write(f"{len(certificates)} certificates composed again: each prints the same.")


def _certificates(words: list[str], *, everything: bool) -> QuerySet[Certificate]:
    rows = Certificate.objects.select_related("submission", "rule_set", "made_by", "replaces").order_by("pk")
    if everything:
        return rows
    wanted = Q(pk__in=[])
    for word in words:
        number, _, issue = word.partition("/")
        own = Q(number=number, issue=int(issue)) if issue.isdecimal() else Q(number=number if not issue else "")
        if not rows.filter(own).exists():
            raise CommandError(f"There is no certificate {word}. Write C26-0001, or C26-0001/2 for its second issue.")
        wanted |= own
    return rows.filter(wanted)


def _evaluations(runs: list[str], certificates: QuerySet[Certificate], *, everything: bool) -> QuerySet[Evaluation]:
    """Evaluations of the runs that are named, and those that the certificates stand on."""
    rows = Evaluation.objects.select_related("run__method_version").order_by("pk")
    if everything:
        return rows
    unknown = set(runs) - set(rows.filter(run__number__in=runs).values_list("run__number", flat=True))
    if unknown:
        raise CommandError(f"There is no evaluated run {', '.join(sorted(unknown))}.")
    lines = CertificateLine.objects.filter(certificate__in=certificates, result__isnull=False)
    inputs = CertificateInput.objects.filter(line__certificate__in=certificates)
    stands_on = Q(results__in=lines.values("result")) | Q(results__in=inputs.values("result"))
    return rows.filter(pk__in=rows.filter(Q(run__number__in=runs) | stands_on).order_by().values("pk"))


def _most(what: str, found: Iterable[str]) -> list[str]:
    """The first differences of many: one standard that was altered changes every number of its run."""
    said = list(islice(found, MOST_SAID + 1))
    return said if len(said) <= MOST_SAID else [*said[:MOST_SAID], f"{what}: and more differs."]
