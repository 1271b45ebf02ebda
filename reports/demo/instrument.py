"""The invented instrument: from what stands at each place of a run to the file of readings that it would write.

Pure: the same places, lines and seed give the same bytes. It knows concentrations in solutions and nothing else; it is
no model of any instrument that exists. Signals are in counts/s.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

EVENING = datetime(2026, 11, 13, 18, 10)
"""When a run begins of which nothing is said."""


@dataclass(frozen=True)
class Instrument:
    """How it reads; every setting is explained in fixtures/demo/truth.toml."""

    replicates: int
    scatter: float
    floor: float
    uptake_scatter: float
    drift_a_place: float
    saturated_at: float
    background: float
    full_scale: float
    bend: Mapping[str, float] = field(default_factory=dict)
    constant: Mapping[str, float] = field(default_factory=dict)
    carried: float = 0.0


@dataclass(frozen=True)
class Place:
    """What stands at one place: `holds` in the solution unit, by element; `uptake` relative to a standard's [1]."""

    number: int
    label: str
    holds: Mapping[str, float]
    uptake: float = 1.0


@dataclass(frozen=True)
class ReadLine:
    """One line; range and limit in the solution unit; `pretended`: what it reads for one unit of another element.

    carries: whether something of what was read just before may still be seen at it.
    """

    key: str
    element: str
    range_top: float
    detection_limit: float
    pretended: Mapping[str, float] = field(default_factory=dict)
    carries: bool = False


@dataclass(frozen=True)
class Disturbance:
    """A line that reads `factor` times as much from one place to another, both included.

    grows: from nothing at the first place on; replicate: one only, from 0.
    """

    line: str
    first: int
    last: int
    factor: float
    grows: bool = False
    replicate: int | None = None


@dataclass(frozen=True)
class Measured:
    """signals [place x line x replicate], counts/s, NaN where the instrument was saturated.

    run: its number; begun: when the first place was read.
    """

    places: tuple[Place, ...]
    lines: tuple[ReadLine, ...]
    signals: Array
    run: str = ""
    begun: datetime = EVENING


def measure(
    instrument: Instrument,
    places: Sequence[Place],
    lines: Sequence[ReadLine],
    *,
    seed: tuple[int, ...],
    disturbances: Sequence[Disturbance] = (),
) -> Measured:
    """Read every place at every line, in replicates."""
    random = np.random.default_rng(seed)
    apparent = _apparent(instrument, places, lines)
    top = np.array([line.range_top for line in lines])
    bend = np.array([instrument.bend.get(line.key, 0.0) for line in lines])
    sensitivity = instrument.full_scale / top
    order = np.arange(len(places))[:, None]
    uptake = np.array([place.uptake for place in places]) * np.exp(
        instrument.uptake_scatter * random.standard_normal(len(places))
    )
    strength = sensitivity * uptake[:, None] * (1 + instrument.drift_a_place * order)
    strength = strength * _disturbed(places, lines, disturbances)
    ideal = instrument.background + strength * apparent * (1 + bend * apparent / top)
    floor = instrument.floor * np.array([line.detection_limit for line in lines]) * sensitivity
    shape = (*ideal.shape, instrument.replicates)
    spread = np.sqrt((instrument.scatter * ideal) ** 2 + floor**2)
    signals = ideal[..., None] + spread[..., None] * random.standard_normal(shape)
    signals = signals * _in_one_replicate(signals, places, lines, disturbances)
    return Measured(
        tuple(places),
        tuple(lines),
        np.where((apparent > instrument.saturated_at * top)[..., None], np.nan, signals),
    )


def _apparent(instrument: Instrument, places: Sequence[Place], lines: Sequence[ReadLine]) -> Array:
    """What each line would read, [place x line], solution unit: its own element, what others pretend, and what is left
    of the solution before."""
    own = np.array(
        [
            [
                instrument.constant.get(line.key, place.holds.get(line.element, 0.0))
                + sum(share * place.holds.get(other, 0.0) for other, share in line.pretended.items())
                for line in lines
            ]
            for place in places
        ]
    )
    carried = np.array([instrument.carried if line.carries else 0.0 for line in lines])
    own[1:] += carried * own[:-1]
    return own


def _disturbed(places: Sequence[Place], lines: Sequence[ReadLine], disturbances: Sequence[Disturbance]) -> Array:
    """What the sensitivity is multiplied by, [place x line]."""
    factor = np.ones((len(places), len(lines)))
    numbers = np.array([place.number for place in places])
    for each in disturbances:
        if each.replicate is not None:
            continue
        column = [line.key for line in lines].index(each.line)
        inside = (numbers >= each.first) & (numbers <= each.last)
        share = (numbers - each.first) / max(each.last - each.first, 1) if each.grows else np.ones(len(places))
        factor[inside, column] *= (1.0 + (each.factor - 1.0) * share)[inside]
    return factor


def _in_one_replicate(
    signals: Array, places: Sequence[Place], lines: Sequence[ReadLine], disturbances: Sequence[Disturbance]
) -> Array:
    """What single replicates are multiplied by, [place x line x replicate]."""
    factor = np.ones(signals.shape)
    for each in disturbances:
        if each.replicate is not None:
            column = [line.key for line in lines].index(each.line)
            inside = [each.first <= place.number <= each.last for place in places]
            factor[inside, column, each.replicate] = each.factor
    return factor
