"""Many quadratic forms of many vectors at once, using the mirror symmetry of the layout.

The forms of a symmetric layout fall apart into blocks in a basis of even and odd combinations;
only the products that some form needs are made, once for all forms.
"""

from dataclasses import dataclass

import numpy as np

from airflow_jobs.calc.quantities import FloatArray
from airflow_jobs.calc.sampling import Sampling

# Entries below this share of a form's largest are rounding noise of an exact zero.
NEGLIGIBLE_SHARE = 1e-13


@dataclass(frozen=True)
class QuadraticForms:
    """F symmetric forms of vectors of length m, ready to be evaluated.

    Attributes
    ----------
    basis : ndarray, shape (m, m)
        Orthonormal rows; vectors are taken to this basis first.
    slices : tuple of (row, first, last)
        Which products of rows are made.
    coefficients : ndarray, shape (F, number of products)
        How the products add up to each form.
    """

    basis: FloatArray
    slices: tuple[tuple[int, int, int], ...]
    coefficients: FloatArray

    def of(self, vectors: FloatArray) -> FloatArray:
        """Evaluate every form.

        Parameters
        ----------
        vectors : ndarray, shape (m, N)

        Returns
        -------
        ndarray, shape (F, N)
        """
        turned = self.basis @ vectors
        products = np.empty((self.coefficients.shape[1], vectors.shape[1]))
        start = 0
        for row, first, last in self.slices:
            end = start + last - first
            np.multiply(turned[row], turned[first:last], out=products[start:end])
            start = end
        result: FloatArray = self.coefficients @ products
        return result


def prepared_forms(matrices: FloatArray, sampling: Sampling) -> QuadraticForms:
    """Prepare forms for evaluation in the layout's symmetric basis.

    Parameters
    ----------
    matrices : ndarray, shape (F, m, m)
        Symmetric matrices.
    sampling : Sampling
        The m readings that the forms are of.

    Returns
    -------
    QuadraticForms
    """
    basis = symmetric_basis(sampling)
    turned = basis @ matrices @ basis.T
    scale = np.abs(turned).max(axis=(1, 2), keepdims=True)
    needed = (np.abs(turned) > NEGLIGIBLE_SHARE * scale).any(axis=0)
    slices: list[tuple[int, int, int]] = []
    columns: list[FloatArray] = []
    for row in range(sampling.count):
        wanted = np.flatnonzero(needed[row, row:]) + row
        if wanted.size == 0:
            continue
        first, last = int(wanted[0]), int(wanted[-1]) + 1
        slices.append((row, first, last))
        doubled = np.where(np.arange(first, last) == row, 1.0, 2.0)
        columns.append(turned[:, row, first:last] * doubled)
    return QuadraticForms(
        basis=basis,
        slices=tuple(slices),
        coefficients=np.ascontiguousarray(np.concatenate(columns, axis=1)),
    )


def symmetric_basis(sampling: Sampling) -> FloatArray:
    """Orthonormal even and odd combinations of the readings of a mirror-symmetric layout.

    Parameters
    ----------
    sampling : Sampling

    Returns
    -------
    ndarray, shape (m, m)
        Rows grouped by parity; the unit matrix where the layout has no mirror.
    """
    parities = [np.eye(sampling.count)]
    for sign_x, sign_y in ((-1.0, 1.0), (1.0, -1.0)):
        mirror = _mirror(sampling, sign_x, sign_y)
        if mirror is None:
            continue
        swap = np.eye(sampling.count)[mirror]
        even, odd = 0.5 * (np.eye(sampling.count) + swap), 0.5 * (np.eye(sampling.count) - swap)
        parities = [parity @ part for parity in parities for part in (even, odd)]
    if len(parities) == 1:
        return parities[0]
    rows = []
    for projector in parities:
        values, vectors = np.linalg.eigh(projector)
        rows.append(vectors[:, values > 0.5].T)
    return np.concatenate(rows)


def _mirror(sampling: Sampling, sign_x: float, sign_y: float) -> np.ndarray | None:
    """The permutation that a mirror makes of the readings, or None where it isn't one."""
    if sampling.averaging is not None:
        return None
    place = {(x, y): i for i, (x, y) in enumerate(zip(sampling.xi, sampling.eta, strict=True))}
    images = [
        place.get((sign_x * x + 0.0, sign_y * y + 0.0))
        for x, y in zip(sampling.xi, sampling.eta, strict=True)
    ]
    if len(place) != sampling.count or any(image is None for image in images):
        return None
    return np.array(images, dtype=np.intp)
