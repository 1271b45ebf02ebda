"""Scales from values to pixels, their ticks, and numbers as a drawing writes them."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

_SPACE = "\N{NO-BREAK SPACE}"
_MINUS = "\N{MINUS SIGN}"
_LOG_FROM = 30.0  # standards that span more than this factor are drawn on a logarithmic scale (a choice of ours)


@dataclass(frozen=True)
class Scale:
    """Values from `low` to `high` laid on pixels from `start` to `end`; logarithmic where `is_log`."""

    low: float
    high: float
    start: float
    end: float
    is_log: bool = False

    def at(self, value: float) -> float:
        """The pixel of a value; values beyond the ends are drawn at the end."""
        bounded = min(max(value, self.low), self.high)
        span = self._shape(self.high) - self._shape(self.low)
        share = (self._shape(bounded) - self._shape(self.low)) / span if span else 0.5
        return self.start + share * (self.end - self.start)

    def ticks(self, wanted: int = 6) -> list[float]:
        """Round values to mark: decades on a logarithmic scale, else steps of 1, 2 or 5."""
        if self.is_log:
            first, last = math.ceil(math.log10(self.low) - 1e-9), math.floor(math.log10(self.high) + 1e-9)
            return [10.0**power for power in range(first, last + 1)]
        step = round_step((self.high - self.low) / max(1, wanted - 1))
        first = math.ceil(self.low / step - 1e-9)
        return [n * step for n in range(first, math.floor(self.high / step + 1e-9) + 1)]

    def _shape(self, value: float) -> float:
        return math.log10(value) if self.is_log else value


def spanning(values: Sequence[float], start: float, end: float, *, room: float = 0.06) -> Scale:
    """A scale that holds all values with some room; logarithmic where positive values span several decades."""
    positive = [value for value in values if value > 0]
    if positive and max(positive) / min(positive) > _LOG_FROM:
        low, high = math.log10(min(positive)), math.log10(max(positive))
        pad = (high - low) * room
        return Scale(10 ** (low - pad), 10 ** (high + pad), start, end, is_log=True)
    low, high = min(values, default=0.0), max(values, default=1.0)
    pad = (high - low or abs(high) or 1.0) * room
    return Scale(low - pad, high + pad, start, end)


def round_below(value: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not above `value`, which is above zero."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(factor * power for factor in (5.0, 2.0, 1.0) if factor * power <= value * (1 + 1e-9))


def round_step(step: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is not below `step`."""
    power = 10.0 ** math.floor(math.log10(step))
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= step * (1 - 1e-9))


def written(value: float, figures: int = 6) -> str:
    """A number in plain notation, at most so many significant figures, thousands parted, without trailing zeros."""
    if not math.isfinite(value):
        return "none"
    exact = Decimal(f"{value:.{figures - 1}e}").normalize()
    return f"{exact:,f}".replace(",", _SPACE).replace("-", _MINUS)


def signed(value: float, decimals: int) -> str:
    """A number with its sign and so many decimals: +0.75, −0.72."""
    return f"{value:+.{decimals}f}".replace("-", _MINUS)


def sampled(function: Callable[[float], float], scale: Scale, count: int = 60) -> list[tuple[float, float]]:
    """Pairs (x, function(x)) at `count` places that are evenly spaced on the scale."""
    low, high = (math.log10(scale.low), math.log10(scale.high)) if scale.is_log else (scale.low, scale.high)
    places = [low + (high - low) * n / (count - 1) for n in range(count)]
    return [(10**x, function(10**x)) if scale.is_log else (x, function(x)) for x in places]
