"""The sampled light of a show as flashes are counted in it: each lamp and each strip."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sim.arrays import Array
from sim.light.flash import LightSource, ensembles, lamp_source, strip_source, together
from sim.light.lightness import srgb_to_linear
from sim.model import Lamp, Show, Strip
from sim.rehearsal.sampling import Samples


def light_sources(show: Show, samples: Samples) -> dict[str, LightSource]:
    """The sampled light of every lamp and strip as `sim.light.flash` judges it."""
    sources: dict[str, LightSource] = {}
    for output in show.rig.outputs:
        if isinstance(output, Lamp) and output.name in samples.lamps:
            colour = srgb_to_linear(np.array(output.colour) / 255.0)
            duty = samples.lamps[output.name].luminance
            sources[output.name] = lamp_source(colour, duty, output.count)
        elif isinstance(output, Strip) and output.name in samples.strips:
            mean = samples.strips[output.name].linear.mean(axis=1)
            sources[output.name] = strip_source(mean, output.pixels)
    return sources


def joined(parts: list[LightSource]) -> LightSource:
    """One light sampled in parts that follow one another: their frames in a row."""
    return replace(
        parts[0],
        rgb=np.concatenate([part.rgb for part in parts]),
        luminance=np.concatenate([part.luminance for part in parts]),
    )


def luminances(sources: dict[str, LightSource]) -> dict[tuple[str, ...], Array]:
    """Luminance of each light by itself, and of several as one (`sim.light.flash.ensembles`)."""
    found: dict[tuple[str, ...], Array] = {
        (name,): source.luminance for name, source in sources.items()
    }
    for names in ensembles(sources):
        found[names] = together({name: sources[name] for name in names})[0]
    return found
