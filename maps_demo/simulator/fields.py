"""Correlated random fields on a grid, and reading them at points."""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import fft, ndimage

Array = npt.NDArray[np.float64]


def stream(seed: int, part: str) -> np.random.Generator:
    """Give the random numbers of one part of the simulator.

    Every part has a stream of its own, so that a change in one part leaves the others alone.

    Parameters
    ----------
    seed : int
        Of the campaign.
    part : str
        Name of the part.

    Returns
    -------
    numpy.random.Generator
        Depends on nothing but the two.
    """
    return np.random.default_rng([seed, zlib.crc32(part.encode())])


@dataclass(frozen=True, slots=True)
class Lattice:
    """A regular grid in the strike frame (`along` strike, `across` it).

    Parameters
    ----------
    along0, across0 : float
        First node, from the centre of the area. [m]
    cell : float
        Distance of nodes. [m]
    shape : tuple of int
        Nodes along and across.
    """

    along0: float
    across0: float
    cell: float
    shape: tuple[int, int]

    @classmethod
    def over(cls, length: float, width: float, margin: float, cell: float) -> Lattice:
        """Make the grid that covers an area around the origin.

        Parameters
        ----------
        length, width : float
            Along and across strike. [m]
        margin : float
            Added on every side. [m]
        cell : float
            Distance of nodes. [m]

        Returns
        -------
        Lattice
            Its middle is the origin.
        """
        along, across = length / 2 + margin, width / 2 + margin
        shape = (int(np.ceil(2 * along / cell)) + 1, int(np.ceil(2 * across / cell)) + 1)
        return cls(-along, -across, cell, shape)

    def nodes(self) -> tuple[Array, Array]:
        """Give the coordinates of all nodes as two arrays of the grid's shape, in metres."""
        along = self.along0 + self.cell * np.arange(self.shape[0])
        across = self.across0 + self.cell * np.arange(self.shape[1])
        a, b = np.meshgrid(along, across, indexing="ij")
        return a, b

    def read(self, grid: Array, along: Array, across: Array) -> Array:
        """Interpolate a grid linearly at points; outside, the nearest edge counts.

        Parameters
        ----------
        grid : ndarray of the grid's shape
            Values at the nodes.
        along, across : ndarray, shape (n,)
            Points in the strike frame. [m]

        Returns
        -------
        ndarray, shape (n,)
            Values at the points.
        """
        rows = (np.asarray(along) - self.along0) / self.cell
        columns = (np.asarray(across) - self.across0) / self.cell
        return ndimage.map_coordinates(grid, [rows, columns], order=1, mode="nearest")


def gaussian_fields(
    lattice: Lattice,
    count: int,
    reach: float,
    rng: np.random.Generator,
    *,
    flattening: float = 1.0,
    smooth: bool = False,
) -> Array:
    """Draw independent Gaussian fields of unit variance by circulant embedding.

    Parameters
    ----------
    lattice : Lattice
        Where.
    count : int
        How many.
    reach : float
        Distance along strike at which the correlation has fallen to 5 %. [m]
    rng : numpy.random.Generator
        Random numbers.
    flattening : float, default 1
        Reach across strike as a share of the reach along it. [-]
    smooth : bool, default False
        Gaussian instead of exponential covariance.

    Returns
    -------
    ndarray, shape (count, along, across)
        The fields. [-]

    References
    ----------
    Dietrich and Newsam 1997, SIAM J. Sci. Comput. 18:1088-1107 (the method; from memory).
    Negative eigenvalues, left when the padding is short, are set to zero.
    """
    pad = int(np.ceil(reach / lattice.cell))
    shape = tuple(fft.next_fast_len(n + min(pad, n), real=True) for n in lattice.shape)
    lags = [np.minimum(np.arange(n), n - np.arange(n)) * lattice.cell for n in shape]
    distance = np.hypot(lags[0][:, None], lags[1][None, :] / flattening) / reach
    covariance = np.exp(-3.0 * (distance**2 if smooth else distance))
    power = np.maximum(fft.rfft2(covariance).real, 0.0)
    # the eigenvalues sum to the variance at one node: keep it at one after the clipping
    whole = 2 * power.sum() - power[:, 0].sum()
    if shape[1] % 2 == 0:
        whole -= power[:, -1].sum()
    root = np.sqrt(power * (shape[0] * shape[1] / whole))
    out = np.empty((count, *lattice.shape))
    for number in range(count):
        noise = fft.rfft2(rng.standard_normal(shape))
        field = fft.irfft2(noise * root, s=shape)
        out[number] = field[: lattice.shape[0], : lattice.shape[1]]
    return out
