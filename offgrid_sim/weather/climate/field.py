"""Seeded noise that nearby places share: smooth Gaussian fields on the sphere, one per day.

A field is a sum of waves with fixed wave vectors and random amplitudes,

    w(p) = sum_m [a_m cos(k_m . p) + b_m sin(k_m . p)] / sqrt(M),   a_m, b_m of mean 0, variance 1

(random Fourier features, Rahimi & Recht 2007). As cos² + sin² = 1, w has variance 1 at every
place, and its correlation between two places tends to the Fourier transform of the density of k.
Amplitudes are flat, which is quicker than normal: with 24 waves w is normal but for an excess
kurtosis of -0.04.
Here that is the Matérn function of order 3/2,

    r(d) = (1 + d/L) exp(-d/L)

whose wave vectors are k = g / (L sqrt(c)), g standard normal in three dimensions, c chi-squared
with three degrees of freedom (Rasmussen & Williams 2006, ch. 4.2.1, nu = 3/2).

The amplitudes of a day come from a generator keyed by (seed, weather year, block of days), so a
value depends on nothing else: not on the other places, years or hours that were asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import gammaincinv, ndtri

from offgrid_sim.weather.climate.sun import Floats

EARTH_RADIUS_KM = 6371.0
BLOCK_DAYS = 128
_EPOCH_BLOCK = 1_000_000
"""Keeps the key of blocks before 1970 positive."""


@dataclass(frozen=True)
class Waves:
    """The fixed wave vectors of one kind of weather; ``vectors_per_km`` has shape (M, 3)."""

    tag: int
    rows_per_day: int
    channels: int
    vectors_per_km: Floats

    def at(self, latitude_deg: float, longitude_deg: float) -> npt.NDArray[np.float32]:
        """The waves' values at a place, shape (2 M,); their squares sum to 1."""
        lat, lon = np.radians(latitude_deg), np.radians(longitude_deg)
        point_km = EARTH_RADIUS_KM * np.array(
            [np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)]
        )
        phase = self.vectors_per_km @ point_km
        both = np.concatenate([np.cos(phase), np.sin(phase)]) / np.sqrt(len(phase))
        return np.asarray(both, dtype=np.float32)


def matern_waves(tag: int, length_km: float, pairs: int, rows_per_day: int, channels: int) -> Waves:
    """Waves of r(d) = (1 + d/L) exp(-d/L); the vectors are spread evenly over their density."""
    uniform = even_points(pairs, 4)
    direction = ndtri(uniform[:, :3])
    stretch = np.sqrt(2.0 * gammaincinv(1.5, uniform[:, 3:]))  # chi-square, 3 degrees of freedom
    return Waves(tag, rows_per_day, channels, direction / (length_km * stretch))


def even_points(count: int, dimensions: int) -> Floats:
    """A fixed low-discrepancy set in the unit cube: frac(1/2 + n / g^j), g^(dim + 1) = g + 1.

    The additive recurrence on the generalised golden ratio (Roberts 2018).
    """
    ratio = 1.5
    for _ in range(60):
        ratio = (1.0 + ratio) ** (1.0 / (dimensions + 1))
    step = ratio ** -np.arange(1.0, dimensions + 1.0)
    return np.asarray((0.5 + np.arange(1, count + 1)[:, None] * step) % 1.0)


@lru_cache(maxsize=3072)
def _amplitudes(
    tag: int, seed: int, year: int, block: int, shape: tuple[int, int, int]
) -> npt.NDArray[np.float32]:
    """Flat random numbers in [0, 1) of one block of days, shape (channels, rows, waves)."""
    key = np.random.SeedSequence([tag, seed, year, block + _EPOCH_BLOCK])
    return np.random.Generator(np.random.SFC64(key)).random(shape, dtype=np.float32)


def noise(
    waves: Waves,
    latitude_deg: float,
    longitude_deg: float,
    seed: int,
    years: tuple[int, ...],
    first_day: int,
    days: int,
) -> Floats:
    """Independent, all but normal numbers of mean 0 and variance 1 per row at a place.

    ``first_day`` counts days since 1970-01-01. Returns shape (channels, years, days * rows per
    day): no memory from one row to the next, correlated between places as the waves are.
    """
    at_place = waves.at(latitude_deg, longitude_deg)
    first_block, last_block = first_day // BLOCK_DAYS, (first_day + days - 1) // BLOCK_DAYS
    shape = (waves.channels, BLOCK_DAYS * waves.rows_per_day, at_place.size)
    rows = [
        [_amplitudes(waves.tag, seed, year, b, shape) @ at_place
         for b in range(first_block, last_block + 1)]
        for year in years
    ]  # fmt: skip
    whole = np.array([np.concatenate(of_year, axis=1) for of_year in rows], dtype=np.float64)
    whole = (whole - 0.5 * float(at_place.sum())) * np.sqrt(12.0)
    start = (first_day - first_block * BLOCK_DAYS) * waves.rows_per_day
    return np.swapaxes(whole, 0, 1)[:, :, start : start + days * waves.rows_per_day]


def memory_taps(phi: float, count: int) -> Floats:
    """Weights of the last ``count`` shocks in an AR(1) process of unit variance.

    A finite sum instead of a recursion: the state needs no history beyond ``count`` rows, so a
    span asked on its own equals the same span cut out of a longer one.
    """
    taps = phi ** np.arange(count)
    return np.asarray(taps / np.sqrt((taps**2).sum()), dtype=np.float64)


def remember(shocks: Floats, taps: Floats) -> Floats:
    """Weighted sums of each row's last shocks along the last axis, which loses len(taps) - 1."""
    out = taps[0] * shocks[..., len(taps) - 1 :]
    for lag in range(1, len(taps)):
        out += taps[lag] * shocks[..., len(taps) - 1 - lag : shocks.shape[-1] - lag]
    return out
