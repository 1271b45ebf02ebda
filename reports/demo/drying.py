"""The oven of the invented laboratory: dishes weighed before and after, through the same act as real work."""

from collections.abc import Sequence

from labresults.actions.mass_losses import Heated
from labresults.models import Sample
from labresults.terms import State
from reports.demo.data import read
from reports.demo.truth import Population, about, between


def dishes(samples: Sequence[Sample], population_name: str) -> list[Heated]:
    """Return what is recorded of one dish a sample: some five grams, air-dry, which lose what the population holds."""
    said = read("truth")
    seed, scatter = said["seed"], said["bench"]["mass_scatter"]
    lost_percent = Population.from_file(said["populations"][population_name]).moisture_percent
    if lost_percent is None:
        raise ValueError(f"truth.toml gives {population_name} no moisture.")
    keys = [f"dish {sample.number}" for sample in samples]
    tares = about(21.4, scatter, 0.0001, keys, seed)
    taken = about(5.0, scatter, 0.0001, [f"into {key}" for key in keys], seed)
    return [
        Heated(
            number=sample.number,
            tare_g=tare_g,
            before_g=round(tare_g + put_in_g, 4),
            after_g=round(tare_g + put_in_g * (1 - between(lost_percent, f"moisture {sample.number}", seed) / 100), 4),
            state=State.AIR_DRY,
        )
        for sample, tare_g, put_in_g in zip(samples, tares, taken, strict=True)
    ]
