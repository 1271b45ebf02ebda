"""Oven and furnace of the invented laboratory: dishes weighed before and after, through the same act as real work."""

from collections.abc import Sequence

from labresults.actions.mass_losses import Heated
from labresults.models import Sample
from labresults.terms import MassLossKind, State
from reports.demo.data import read
from reports.demo.truth import Population, about, between

TAKEN_G = {MassLossKind.MOISTURE: 5.0, MassLossKind.IGNITION: 1.0}
STATE = {MassLossKind.MOISTURE: State.AIR_DRY, MassLossKind.IGNITION: State.AS_RECEIVED}


def dishes(samples: Sequence[Sample], population_name: str, kind: MassLossKind) -> list[Heated]:
    """Return what is recorded of one dish a sample, which loses what the population holds: some five grams of what is
    air-dry, or some one gram to be ignited. Raises ValueError where truth.toml states no loss of that kind.
    """
    said = read("truth")
    seed, scatter = said["seed"], said["bench"]["mass_scatter"]
    population = Population.from_file(said["populations"][population_name])
    lost_percent = population.moisture_percent if kind == MassLossKind.MOISTURE else population.ignition_percent
    if lost_percent is None:
        raise ValueError(f"truth.toml gives {population_name} no {kind}.")
    dish, key = _named(kind)
    keys = [f"{dish} {sample.number}" for sample in samples]
    tares = about(21.4, scatter, 0.0001, keys, seed)
    taken = about(TAKEN_G[kind], scatter, 0.0001, [f"into {key}" for key in keys], seed)
    return [
        Heated(
            number=sample.number,
            tare_g=tare_g,
            before_g=round(tare_g + put_in_g, 4),
            after_g=round(tare_g + put_in_g * (1 - between(lost_percent, f"{key} {sample.number}", seed) / 100), 4),
            state=STATE[kind],
        )
        for sample, tare_g, put_in_g in zip(samples, tares, taken, strict=True)
    ]


def _named(kind: MassLossKind) -> tuple[str, str]:
    """By which names chance is drawn for a dish, and for what it loses."""
    return ("dish", "moisture") if kind == MassLossKind.MOISTURE else ("crucible", "ignition")
