"""From observations to readings: replicates become their mean and spread, and the file's own are held against them."""

import math
from collections.abc import Sequence
from itertools import chain, repeat
from typing import NamedTuple

import numpy as np

from labresults.readers.grouping import grouped
from labresults.readers.layout import Layout
from labresults.readers.observations import Observation
from labresults.readers.problem import Problem
from labresults.readers.reading import Reading
from labresults.readers.table import from_columns

_IN_BINARY = 1e-9  # relative: what the sums of a spreadsheet may differ from ours, with much to spare


class Summary(NamedTuple):
    """What the replicates of one observation say, or the mean that the file gives in their place."""

    mean: float | None
    sd: float | None
    number: int  # of the replicates behind the mean
    missing: bool
    saturated: bool


def readings(observations: Sequence[Observation], layout: Layout) -> tuple[list[Reading], list[Problem]]:
    """Return a reading for each place and line, and a problem where rows or the file's own means contradict."""
    single, problems = grouped(observations, layout)
    if not single:
        return [], problems
    summaries = summarised(single)
    if layout.mean or layout.sd:
        for o, summary in zip(single, summaries, strict=True):
            if o.texts and (o.mean_text or o.sd_text):
                problems += _contradictions(o, summary, layout)
    rows, positions, labels, lines, times, texts, *_ = zip(*single, strict=True)
    concentrations = [o.concentration for o in single]
    units = ["" if o.concentration is None else o.concentration_unit for o in single]
    text_units = [o.text_unit for o in single]
    of_all = zip(*summaries, strict=True)
    return list(
        from_columns(Reading, rows, positions, labels, lines, texts, *of_all, concentrations, units, times, text_units)
    ), problems


def summarised(observations: Sequence[Observation]) -> list[Summary]:
    """Return the mean and standard deviation (n − 1) of each observation.

    One replicate over range leaves no mean. Observations of which all replicates were read are summed together.
    """
    found: list[Summary | None] = [None] * len(observations)
    alike: dict[int, list[int]] = {}
    for at, o in enumerate(observations):
        values = o.values
        if values and not o.over and None not in values:
            number = len(values)
            if number in alike:
                alike[number].append(at)
            else:
                alike[number] = [at]
        else:
            found[at] = _of_replicates(o) if o.texts else _of_mean(o)
    for number, places in alike.items():
        of_these = [observations[at].values for at in places]
        for at, summary in zip(places, _of_alike(of_these, number), strict=True):  # type: ignore[arg-type]
            found[at] = summary
    return found  # type: ignore[return-value]  # every place was filled


def _of_alike(values: Sequence[tuple[float, ...]], number: int) -> list[Summary]:
    """As `_of_replicates` of each, to the last bit: the sums are exact before they are rounded once."""
    means = [total / number for total in map(math.fsum, values)]
    spreads: Sequence[float | None] = [None] * len(values)
    if number > 1:
        flat = np.fromiter(chain.from_iterable(values), float, number * len(values))
        apart = flat.reshape(-1, number) - np.asarray(means)[:, np.newaxis]
        squares = map(math.fsum, (apart * apart).tolist())
        spreads = np.sqrt(np.fromiter(squares, float, len(values)) / (number - 1)).tolist()
    return list(from_columns(Summary, means, spreads, repeat(number), repeat(False), repeat(False)))


def _of_replicates(o: Observation) -> Summary:
    known = [value for value in o.values if value is not None]
    mean, sd = (None, None) if o.over else mean_and_sd(known)
    return Summary(mean, sd, len(known), not known and not o.over, o.over)


def _of_mean(o: Observation) -> Summary:
    known = o.mean is not None
    number = o.replicate_count if known else 0
    return Summary(o.mean, o.sd if known and number > 1 else None, number, not known and not o.mean_over, o.mean_over)


def mean_and_sd(values: Sequence[float]) -> tuple[float | None, float | None]:
    """Return the mean and the standard deviation (n − 1), each None where there are too few values."""
    if not values:
        return None, None
    mean = math.fsum(values) / len(values)
    if len(values) < 2:
        return mean, None
    return mean, math.sqrt(math.fsum([(value - mean) * (value - mean) for value in values]) / (len(values) - 1))


def _contradictions(o: Observation, summary: Summary, layout: Layout) -> list[Problem]:
    """Hold the file's own mean, standard deviation and count against its replicates, beyond rounding."""
    if summary.mean is None:
        return []
    sign = layout.decimal_sign
    digit = max(_last_digit(text, sign) for text in o.texts) * o.scale
    slack = _IN_BINARY * max(abs(value) for value in o.values if value is not None)
    problems = []
    for words, said, text, computed, remedy in (
        ("mean", o.mean, o.mean_text, summary.mean, "Look which of them is wrong in the program that wrote the file."),
        ("standard deviation", o.sd, o.sd_text, summary.sd, "Leave it out of the layout if it is not that of n − 1."),
    ):
        if said is None or computed is None:
            continue
        if abs(said - computed) > _last_digit(text, sign) * o.scale + digit + slack:
            what = f"the file says a {words} of {said:.6g} for {o.line}, and its replicates have {computed:.6g}."
            problems.append(Problem(o.row, o.column, what, remedy, f"{said:.6g}", f"{computed:.6g}"))
    if layout.count and o.replicate_count and o.replicate_count != summary.number:
        what = f"the file counts {o.replicate_count} replicates of {o.line}, and {summary.number} were read."
        found, expected = str(o.replicate_count), str(summary.number)
        problems.append(Problem(o.row, o.column, what, "Look which is wrong.", found, expected))
    return problems


def _last_digit(text: str, decimal_sign: str) -> float:
    """Return what one more in the last digit of a number is worth, in the number's own unit."""
    bare = text.strip().casefold()
    digits, _, exponent = bare.partition("e")
    power = int(exponent) if exponent.lstrip("+-").isdecimal() and len(exponent) < 5 else 0
    decimals = len(digits) - digits.rfind(decimal_sign) - 1 if decimal_sign in digits else 0
    return float(f"1e{power - decimals}")
