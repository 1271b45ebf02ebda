"""What the samples of the demonstration truly hold, by the rule that fixtures/demo/truth.toml states.

Pure: the same truth gives the same contents. Contents are in the unit of the population, mg/kg or mg/L.
"""

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import exp

import numpy as np

Contents = Mapping[str, float]


@dataclass(frozen=True)
class Zone:
    """A stretch of samples that is richer than the rest: places and widths count in samples."""

    centre: float
    width: float
    height: float

    def at(self, ordinal: int) -> float:
        """Return how much of the rise a sample has, 0 to `height`."""
        return self.height * exp(-(((ordinal - self.centre) / self.width) ** 2) / 2)


@dataclass(frozen=True)
class Population:
    """The samples of one delivery. `rise` in decades of a full zone; `scatter` of the natural logarithm."""

    seed: int
    unit: str
    base: Contents
    scatter: Contents
    rise: Contents = field(default_factory=dict)
    zones: tuple[Zone, ...] = ()
    stated: Mapping[str, Contents] = field(default_factory=dict)  # by ordinal, as text
    uptake: tuple[float, float] = (0.0, 0.0)  # relative, of each sample's own viscosity: from, to
    moisture_percent: tuple[float, float] | None = None  # of the state that is weighed: from, to
    ignition_percent: tuple[float, float] | None = None  # lost on ignition: from, to

    @classmethod
    def from_file(cls, raw: Mapping[str, object]) -> "Population":
        """Read what truth.toml says of one population."""
        named = dict(raw)
        named["zones"] = tuple(Zone(**zone) for zone in named.get("zones", ()))  # type: ignore[attr-defined]
        for name in ("uptake", "moisture_percent", "ignition_percent"):
            if name in named:
                named[name] = tuple(named[name])  # type: ignore[arg-type]
        return cls(**named)  # type: ignore[arg-type]


def contents(population: Population, count: int, seed: int) -> tuple[Contents, ...]:
    """Return what each of `count` samples holds, by element."""
    zone = np.array([max((z.at(i) for z in population.zones), default=0.0) for i in range(1, count + 1)])
    columns = {
        element: base
        * 10.0 ** (population.rise.get(element, 0.0) * zone)
        * np.exp(population.scatter[element] * _normal((seed, population.seed, place), count))
        for place, (element, base) in enumerate(population.base.items())
    }
    return tuple(
        {element: float(column[index]) for element, column in columns.items()}
        | dict(population.stated.get(str(index + 1), {}))
        for index in range(count)
    )


def of_portion(content: Contents, key: str, scatter: float, seed: int) -> Contents:
    """Return what one portion holds: two portions of a sample differ. `key` names the portion."""
    noise = _normal((seed, named(key)), len(content))
    return {element: value * exp(scatter * n) for (element, value), n in zip(content.items(), noise, strict=True)}


def between(bounds: tuple[float, float], key: str, seed: int) -> float:
    """Return a number between two, the same for the same key."""
    low, high = bounds
    return low + (high - low) * float(np.random.default_rng((seed, named(key))).random())


def about(middle: float, scatter: float, shown: float, keys: Sequence[str], seed: int) -> list[float]:
    """Return a mass for each key as a balance shows it [g]: about `middle`, never more than two and a half apart."""
    noise = (float(np.clip(_normal((seed, named(key)), 1)[0], -2.5, 2.5)) for key in keys)
    decimals = max(0, round(-float(np.log10(shown))))
    return [round(middle * (1 + scatter * n), decimals) for n in noise]


def named(key: str) -> int:
    """Return a number that stands for a name."""
    return zlib.crc32(key.encode())


def _normal(seed: tuple[int, ...], count: int) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(count)
