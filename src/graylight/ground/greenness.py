"""How green the ground is: from red and near infrared, or, less surely, from a colour picture."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["EXG_FULL", "NDVI_BARE", "NDVI_FULL", "green_of_bands", "green_of_picture", "ndvi"]

NDVI_BARE = 0.1
"""At or under this there is nothing green: bare rock, soil, snow. Common practice, no source."""
NDVI_FULL = 0.75
"""At or over this the ground is fully green, as a meadow at the height of its growth. Common practice, no source."""
EXG_FULL = 0.15
"""Excess green index taken as fully green. Common practice, no source."""


def ndvi(red: NDArray[np.floating], nir: NDArray[np.floating]) -> NDArray[np.float32]:
    """Normalised difference vegetation index, (nir - red) / (nir + red), -1 to 1.

    Rouse et al. (1974), Monitoring vegetation systems in the Great Plains with ERTS, NASA SP-351.

    Parameters
    ----------
    red, nir
        (rows, cols), reflectance or any common multiple of it; NaN for unknown.

    Returns
    -------
    (rows, cols) float32
        NaN where a band is unknown or both are zero.

    Examples
    --------
    >>> ndvi(np.array([[0.1]]), np.array([[0.3]])).round(3).tolist()
    [[0.5]]
    """
    low, high = red.astype(np.float32), nir.astype(np.float32)
    total = low + high
    with np.errstate(invalid="ignore", divide="ignore"):
        index = np.where(total > 0, (high - low) / total, np.float32(np.nan))
    clipped: NDArray[np.float32] = np.clip(index, -1.0, 1.0)
    return clipped


def green_of_bands(red: NDArray[np.floating], nir: NDArray[np.floating]) -> NDArray[np.float32]:
    """Greenness 0 to 1: the NDVI stretched between two fixed values, 0.1 (nothing green) and 0.75 (all green).

    Fixed, so that two dates or two ranges can be compared. Not modelled: shade, haze, the look angle;
    imagery not corrected for the atmosphere reads too low.
    """
    stretched = (ndvi(red, nir) - np.float32(NDVI_BARE)) / np.float32(NDVI_FULL - NDVI_BARE)
    green: NDArray[np.float32] = np.clip(stretched, 0.0, 1.0)
    return green


def green_of_picture(picture: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Greenness 0 to 1 of a colour picture: the excess green index 2g - r - b, stretched from 0 to 0.15.

    Woebbecke et al. (1995), Color indices for weed identification, doi:10.13031/2013.27838; r, g, b are the
    parts of red, green and blue in their sum.

    Parameters
    ----------
    picture
        (3, rows, cols) uint8: red, green, blue. Black (0, 0, 0) is taken as unknown.
    """
    total = picture.sum(axis=0, dtype=np.float32)
    with np.errstate(invalid="ignore", divide="ignore"):
        excess = 3.0 * picture[1].astype(np.float32) / total - 1.0
    return np.clip(np.where(total > 0, excess, np.nan) / EXG_FULL, 0.0, 1.0).astype(np.float32)
