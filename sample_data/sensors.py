"""The sins of floats: what a device reports, given what is true."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_data.kinetics import Floats


@dataclass
class Float:
    """One floating hydrometer and its faults. SG unless the name says otherwise."""

    interval_h: float = 0.5
    white_sg: float = 0.0004
    slow_sg: float = 0.0002
    slow_tau_h: float = 6.0
    """Noise that is correlated in time: bubbles on the shell, yeast that settles on it and slides off."""
    offset_sg: float = 0.0
    gain: float = 1.0
    drift_sg_per_day: float = 0.0
    per_degree_sg: float = 0.0
    """What is left of the effect of temperature after correction."""
    foam_sg: float = 0.0
    """How much a high head of foam lifts it, on average, while it lasts."""
    sticks: int = 0
    spikes: float = 0.003
    """Share of readings that are far off."""
    gaps: int = 1
    repeats: float = 0.003
    """Share of readings that are sent twice."""
    late: float = 0.01
    """Share of readings that arrive hours later."""
    resolution_sg: float = 0.0
    jump_sg: float = 0.0
    """Offset that a disturbance (dry hops, a transfer) leaves behind."""


@dataclass
class Sampled:
    """Rows of one float: hours from pitching, hours of receipt, gravity, temperature."""

    at_h: Floats
    received_h: Floats
    gravity_sg: Floats
    temperature_c: Floats


def wander(times_h: Floats, spread: float, tau_h: float, rng: np.random.Generator) -> Floats:
    """An Ornstein-Uhlenbeck path: correlated over `tau_h`, with standard deviation `spread`."""
    if len(times_h) == 0:
        return np.empty(0)
    # Divided by its own decay the path is a plain sum of kicks; in stretches, so that nothing overflows.
    kicks = rng.standard_normal(len(times_h))
    keep = np.exp(-np.diff(times_h, prepend=times_h[0]) / tau_h)
    kicks[1:] *= np.sqrt(1 - keep[1:] ** 2)
    out = np.empty(len(times_h))
    last, begin = 0.0, 0
    while begin < len(out):
        end = int(np.searchsorted(times_h, times_h[begin] + 20 * tau_h, side="right"))
        end = max(end, begin + 1)
        decay = np.cumprod(keep[begin:end])
        out[begin:end] = decay * (last + np.cumsum(kicks[begin:end] / decay))
        last, begin = float(out[end - 1]), end
    return spread * out


def sample(
    device: Float,
    times_h: Floats,
    gravity_sg: Floats,
    temperature_c: Floats,
    activity: Floats,
    *,
    until_h: float,
    jumps_h: tuple[float, ...] = (),
    rng: np.random.Generator,
) -> Sampled:
    """What the float reports until `until_h`, faults included, in order of measurement."""
    at = np.arange(rng.uniform(0.1, 0.6), until_h, device.interval_h)
    at = at + rng.normal(0, min(0.01, 0.1 * device.interval_h), len(at))
    true = np.interp(at, times_h, gravity_sg)
    warm = np.interp(at, times_h, temperature_c)
    busy = np.interp(at, times_h, activity)
    busy = busy / max(float(busy.max()), 1e-9)
    seen = true[0] + (true - true[0]) * device.gain + device.offset_sg + device.drift_sg_per_day * at / 24
    seen = seen + device.per_degree_sg * (warm - warm[0])
    seen = seen + wander(at, device.slow_sg, device.slow_tau_h, rng)
    # Bubbles shake a float while it ferments hard.
    seen = seen + rng.standard_normal(len(at)) * device.white_sg * (1 + 1.5 * busy)
    foamy = np.clip(busy - 0.35, 0, None) / 0.65
    seen = seen - device.foam_sg * foamy * np.abs(wander(at, 1.0, 8.0, rng))
    for hour in jumps_h:
        seen = seen + np.where(at >= hour, device.jump_sg * rng.standard_normal(), 0.0)
    for _ in range(device.sticks):
        start = rng.uniform(6, max(until_h - 6, 7))
        stuck = (at >= start) & (at < start + rng.uniform(3, 18))
        if stuck.any():
            seen[stuck] = seen[stuck][0] + rng.standard_normal(int(stuck.sum())) * 0.3 * device.white_sg
    odd = rng.random(len(at)) < device.spikes
    seen = np.where(odd, seen + rng.normal(0, 0.012, len(at)), seen)
    if device.resolution_sg > 0:
        seen = np.round(seen / device.resolution_sg) * device.resolution_sg
    keep = rng.random(len(at)) > 0.01
    for _ in range(device.gaps):
        start = rng.uniform(0, until_h)
        keep &= ~((at >= start) & (at < start + rng.exponential(6)))
    warm = warm + rng.normal(0, 0.06, len(at))
    received = at + 0.002
    tardy = rng.random(len(at)) < device.late
    received = np.where(tardy, at + rng.exponential(5, len(at)), received)
    index = np.flatnonzero(keep)
    twice = index[rng.random(len(index)) < device.repeats]
    index = np.sort(np.concatenate([index, twice]))
    return Sampled(at[index], received[index], seen[index], warm[index])
