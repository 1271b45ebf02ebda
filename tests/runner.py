"""Lets `manage.py test` run pytest, so that one command passes the tests."""

import shlex
from argparse import ArgumentParser
from collections.abc import Sequence
from typing import Any

import pytest


class PytestRunner:
    """Django's test runner by name, pytest by nature."""

    def __init__(self, verbosity: int = 1, failfast: bool = False, pytest_arguments: str = "", **_: Any) -> None:
        loud, first = ["-v"] if verbosity > 1 else [], ["-x"] if failfast else []
        self.arguments = [*loud, *first, *shlex.split(pytest_arguments)]

    @staticmethod
    def add_arguments(parser: ArgumentParser) -> None:
        parser.add_argument("--pytest", dest="pytest_arguments", default="", help="Further arguments for pytest.")

    def run_tests(self, test_labels: Sequence[str], **_: Any) -> int:
        return int(pytest.main([*self.arguments, *test_labels]) != 0)
