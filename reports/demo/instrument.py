"""The invented instrument: from what stands at each place of a run to the file of readings that it would write.

Pure: the same places, lines and seed give the same bytes. It knows concentrations in solutions and nothing else; it is
no model of any instrument that exists. Signals are in counts/s.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


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


@dataclass(frozen=True)
class Place:
    """What stands at one place: `holds` in the solution unit, by element; `uptake` relative to a standard's [1]."""

    number: int
    label: str
    holds: Mapping[str, float]
    uptake: float = 1.0


@dataclass(frozen=True)
class ReadLine:
    """One line; range and limit in the solution unit; `pretended`: what it reads for one unit of another element."""

    key: str
    element: str
    range_top: float
    detection_limit: float
    pretended: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Disturbance:
    """A line that reads `factor` times as much from one place to another, both included."""

    line: str
    first: int
    last: int
    factor: float


@dataclass(frozen=True)
class Measured:
    """signals [place x line x replicate], counts/s, NaN where the instrument was saturated."""

    places: tuple[Place, ...]
    lines: tuple[ReadLine, ...]
    signals: Array


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
    return Measured(
        tuple(places),
        tuple(lines),
        np.where((apparent > instrument.saturated_at * top)[..., None], np.nan, signals),
    )


def _apparent(instrument: Instrument, places: Sequence[Place], lines: Sequence[ReadLine]) -> Array:
    """What each line would read, [place x line], solution unit: its own element and what others pretend."""
    return np.array(
        [
            [
                instrument.constant.get(line.key, place.holds.get(line.element, 0.0))
                + sum(share * place.holds.get(other, 0.0) for other, share in line.pretended.items())
                for line in lines
            ]
            for place in places
        ]
    )


def _disturbed(places: Sequence[Place], lines: Sequence[ReadLine], disturbances: Sequence[Disturbance]) -> Array:
    factor = np.ones((len(places), len(lines)))
    numbers = np.array([place.number for place in places])
    for disturbance in disturbances:
        column = [line.key for line in lines].index(disturbance.line)
        inside = (numbers >= disturbance.first) & (numbers <= disturbance.last)
        factor[inside, column] = disturbance.factor
    return factor
