"""Numbers with units, days and judgements, formatted in one place for every page."""

from datetime import date
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Any

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from labresults.calculation.quality_control import unit_of
from labresults.terms import WEIGHTING_IN_WORDS, Station, Verdict, Weighting

register = template.Library()

_SPACE = "\N{NO-BREAK SPACE}"
_MINUS = "\N{MINUS SIGN}"
_LONG = 20  # digits before the point from which nothing is rounded: the decimal context carries 28


@register.filter
def figures(value: float | None, count: int = 4) -> str:
    """A value to `count` significant figures, half to even, for looking at: what is carried on is never rounded."""
    if value is None:
        return ""
    exact = Decimal(repr(float(value)))
    if not exact.is_finite() or exact.adjusted() >= _LONG:
        return _grouped(exact)
    rounded = _to_figures(exact, count)
    return _grouped(_to_figures(rounded, count) if rounded.adjusted() > exact.adjusted() else rounded)


@register.filter
def bound(value: float, sign: str) -> str:
    """What follows < or >, to two figures, rounded so that it holds: up after <, down after >."""
    exact = Decimal(f"{value:.12g}")
    step = Decimal(1).scaleb(min(0, exact.adjusted() - 1))
    return _grouped(exact.quantize(step, ROUND_CEILING if sign == "<" else ROUND_FLOOR))


@register.filter
def plain(value: float | int | None) -> str:
    """A value as it is stored, thousands parted."""
    if value is None:
        return ""
    exact = Decimal(repr(value))
    return _grouped(exact.to_integral_value() if exact == exact.to_integral_value() else exact)


@register.filter
def factor(value: float | None) -> str:
    """A dilution factor: at most four significant figures, and every figure before the point; 1.02, 12 500."""
    if value is None:
        return ""
    exact = Decimal(repr(float(value)))
    return plain(float(_to_figures(exact, max(4, exact.adjusted() + 1))))


@register.filter
def day(value: date | None) -> str:
    """Mon 16 Nov, with the year where it is not the one that a reader would take for granted (see `day_of_year`)."""
    return f"{value:%a} {value.day} {value:%b}" if value else ""


@register.filter
def day_of_year(value: date | None) -> str:
    """16 Nov 2026."""
    return f"{value.day} {value:%b} {value.year}" if value else ""


@register.filter
def things(count: int, word: str) -> str:
    """1 sample, 5 samples, 1 200 batches; an irregular plural stands after a comma."""
    one, _, many = word.partition(",")
    many = many or one + "s"
    return f"{_grouped(Decimal(count))}{_SPACE}{one if count == 1 else many}"


@register.filter
def act_words(name: str) -> str:
    """The name of an act, as words."""
    return name.replace("_", " ")


@register.filter
def weighting_in_words(weighting: str) -> str:
    """How a curve was weighted, in words."""
    return WEIGHTING_IN_WORDS[Weighting(weighting)]


@register.filter
def unlocalized(value: float) -> str:
    """A number for a program to read."""
    return repr(value)


@register.filter
def short(sha256: str) -> str:
    """The first and last figures of a hash, for looking at."""
    return f"{sha256[:8]}…{sha256[-8:]}" if len(sha256) > 20 else sha256


@register.filter
def allowed(criterion: Any) -> str:
    """What a criterion allows, or what an outcome was judged by, with its unit: 90–110 %."""
    unit = _measure_unit(criterion.measure)
    low, high = criterion.low, criterion.high
    if low is None:
        return f"at most {plain(high)}{unit}"
    if high is None:
        return f"at least {plain(low)}{unit}"
    if low < 0:
        return f"{plain(low)} to {plain(high)}{unit}"
    return f"{plain(low)}–{plain(high)}{unit}"


@register.filter
def observed(outcome: Any) -> str:
    """What a control sample gave, with the unit of its measure."""
    if outcome.observed is None:
        return "no value"
    return f"{figures(outcome.observed)}{_measure_unit(outcome.measure)}"


@register.simple_tag
def gauge(value: float | None, low: float | None, high: float | None, verdict: str) -> SafeString:
    """Two bars are the limits, the mark is the value; the word stands beside it. Without both limits: the word."""
    word = format_html('<span class="{}">{}</span>', _WORD_CLASS.get(verdict, ""), verdict)
    if value is None or low is None or high is None or high <= low:
        return format_html('<span class="judged">{}</span>', word)
    x = 11 + 20 * min(1.45, max(-0.45, (value - low) / (high - low)))
    kind, mark = _mark(verdict, round(x, 1))
    return format_html(
        '<span class="judged"><svg class="gauge{}" viewBox="0 0 42 12" aria-hidden="true" focusable="false">'
        '<line class="mid" x1="11" y1="6" x2="31" y2="6"/><line x1="11" y1="0" x2="11" y2="12"/>'
        '<line x1="31" y1="0" x2="31" y2="12"/>{}</svg>{}</span>',
        kind,
        mark,
        word,
    )


_WORD_CLASS = {Verdict.OUTSIDE: "word-out", Verdict.CLOSE: "word-near", Verdict.NOT_JUDGED: "quiet"}


@register.simple_tag
def along(station: str) -> SafeString:
    """Five dots: how far something has come on the path."""
    stations = list(Station)
    here = stations.index(Station(station))
    dots = "".join(
        f'<circle class="{"been" if n < here else "here" if n == here else ""}" cx="{5 + 12 * n}" cy="6" '
        f'r="{"4.4" if n == here else "3"}"/>'
        for n in range(len(stations))
    )
    return format_html(
        '<svg class="along" viewBox="0 0 58 12" aria-hidden="true" focusable="false">'
        '<line x1="4" y1="6" x2="54" y2="6"/>{}</svg><span class="off">at {};</span>',
        mark_safe(dots),
        station,
    )


def _to_figures(exact: Decimal, count: int) -> Decimal:
    """Rounded half to even; digits before the point are all kept."""
    return exact.quantize(Decimal(1).scaleb(min(0, exact.adjusted() - count + 1)))


def _mark(verdict: str, x: float) -> tuple[str, SafeString]:
    if verdict == Verdict.OUTSIDE:
        return " out", format_html('<path d="M{} 1l5 5-5 5-5-5z"/>', x)
    kind = " near" if verdict == Verdict.CLOSE else ""
    return kind, format_html('<circle cx="{}" cy="6" r="3.1"/>', x)


@register.filter
def to_place(value: float | None, places: int) -> str:
    """A value to four significant figures, but no finer than so many decimals: a blank's noise has no meaning."""
    if value is None:
        return ""
    exact = Decimal(repr(float(value)))
    if not exact.is_finite():
        return "none"
    last = Decimal(1).scaleb(max(-places, min(0, exact.adjusted() - 3)))
    rounded = exact.quantize(last)
    return _grouped(rounded if rounded else abs(rounded))


@register.filter
def measure_unit(measure: str) -> str:
    """The unit of a measure, with the space before it; a multiple of the quantification limit is written short."""
    return _measure_unit(measure).replace("quantification limit", "limit")


def _measure_unit(measure: str) -> str:
    """The unit of a measure, with the space before it; nothing for a bare number."""
    return "".join(f"{_SPACE}{word}" for word in unit_of(measure).split(" ", 1) if word)


def _grouped(value: Decimal) -> str:
    return f"{value:,f}".replace(",", _SPACE).replace("-", _MINUS)
