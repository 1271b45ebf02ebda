"""What a page says of a curve: how it was fitted, how good it is, and what a point left out took of its range."""

import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from labresults.actions.evaluation import evaluate_run
from labresults.models import Evaluation
from labresults.terms import FitOn, Weighting
from tests.builders import Laboratory
from tests.calculation.calibrations import CADMIUM_LEVELS
from tests.journeys.published_runs import PublishedRun, evaluated

AsRole = Callable[[str], Client]


@pytest.fixture
def cadmium(lab: Laboratory) -> Evaluation:
    """Cadmium at six levels, fitted on single replicates, and a sample at the lowest."""
    return evaluated(
        lab,
        PublishedRun(
            concentrations=list(CADMIUM_LEVELS),
            standards=list(CADMIUM_LEVELS.values()),
            unknowns=[CADMIUM_LEVELS[2.7784]],
            unit="mg/L",
            per_unit=1.0,
            mg_per_L=1.0,
            line={
                "element": "Cd", "label": "228.802", "weighting": Weighting.INVERSE_X2, "fit_on": FitOn.REPLICATES,
                "quantification_limit": 3.0,
            },
        ),
    )  # fmt: skip


def page_of(browser: Client, evaluation: Evaluation) -> str:
    answer = browser.get(reverse("run", args=[evaluation.run.number]))
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_curve_says_how_it_was_fitted_and_how_good_it_is(as_role: AsRole, cadmium: Evaluation) -> None:
    text = page_of(as_role("analyst"), cadmium)
    assert "weighted by the square of the concentration, 1/x²" in text
    assert "single replicates" in text
    assert re.search(r"24\spoints", text)
    for figure in ("2.12", "0.37"):  # relative standard error, %; probability of the lack of fit
        assert figure in text
    assert "the working range ends" not in text


def test_a_point_left_out_does_not_shrink_the_range_unnoticed(
    as_role: AsRole, lab: Laboratory, cadmium: Evaluation
) -> None:
    evaluate_run(
        by=lab.people["analyst"], at=lab.later(), run=cadmium.run, reason="spilled", left_out=[(6, "Cd 228.802")]
    )
    text = page_of(as_role("analyst"), cadmium)
    assert "Position 6 (43.2067 mg/L) was left out: the working range ends at 31.7741 mg/L." in text
