"""Uncertainty of a result from the uncertainties of what went in, correlations included.

Answers: mean and covariance of repeated readings; covariance of any function of correlated quantities; the same by
         drawing.
Units:   whatever the caller's quantities have.
Touches: nothing. The draws of `monte_carlo` are seeded: the same inputs give the same numbers.
Sources: JCGM 100:2008 (GUM), 4.2, 5.2.2 and H.2; JCGM 101:2008, 7 (open copies).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Model = Callable[[FloatArray], FloatArray]
"""Takes quantities in its last axis, gives results in its last axis; leading axes are kept."""

COVERAGE_K = 2.0  # expanded uncertainty U = 2 u
STEP = 1e-5  # of the standard uncertainty's scale, for central differences
DRAWS = 20_000
SEED = 20_101


@dataclass(frozen=True)
class Propagated:
    """Results with their covariance matrix, in the order of the model's outputs."""

    value: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]

    @property
    def u(self) -> tuple[float, ...]:
        """Standard uncertainties."""
        return tuple(float(max(self.covariance[i][i], 0.0) ** 0.5) for i in range(len(self.value)))

    def correlation(self, one: int, other: int) -> float:
        """Correlation coefficient of two results; 0 where one of them is certain."""
        scale = self.u[one] * self.u[other]
        return self.covariance[one][other] / scale if scale > 0.0 else 0.0


@dataclass(frozen=True)
class Drawn:
    """What the draws of a model gave: means, standard deviations, probabilistically symmetric 95 % intervals."""

    mean: tuple[float, ...]
    u: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


def type_a(samples: Sequence[Sequence[float]]) -> Propagated:
    """Means of quantities that were read together several times, and the covariance of these means.

    Parameters
    ----------
    samples : sequence of rows
        One row per set of simultaneous readings, one column per quantity; at least two rows.

    References
    ----------
    JCGM 100:2008, 4.2.3 and 5.2.3, equation (17).
    """
    table = np.asarray(samples, dtype=float)
    if table.ndim != 2 or len(table) < 2:
        raise ValueError("type A evaluation needs at least two sets of readings")
    mean = table.mean(axis=0)
    off = table - mean
    return _propagated(mean, off.T @ off / (len(table) * (len(table) - 1)))


def propagate(model: Model, value: Sequence[float], covariance: Sequence[Sequence[float]]) -> Propagated:
    """Results of a model and their covariance.

    Parameters
    ----------
    model : Model
        Vectorised over leading axes.
    value : sequence of float, shape (n,)
        Best estimates of the inputs.
    covariance : array_like, shape (n, n)
        Their covariance; off the diagonal what they share, such as one meter's gain error.

    References
    ----------
    JCGM 100:2008, 5.2.2, equation (13); several results: H.2.
    """
    at, known = np.asarray(value, dtype=float), np.asarray(covariance, dtype=float)
    jacobian = derivatives(model, at, np.sqrt(np.clip(np.diag(known), 0.0, None)))
    return _propagated(np.atleast_1d(model(at)), jacobian @ known @ jacobian.T)


def derivatives(model: Model, at: FloatArray, scale: FloatArray) -> FloatArray:
    """Central differences, shape (results, inputs); steps follow `scale`, or the size of an input that is certain."""
    step = np.maximum(STEP * np.abs(at), STEP * scale)
    step = np.where(step > 0.0, step, STEP)
    moves = np.diag(step)
    up, down = np.asarray(model(at + moves)), np.asarray(model(at - moves))
    spread = np.asarray((up - down).T / (2.0 * step), dtype=float)
    return spread


def monte_carlo(
    model: Model, draw: Callable[[np.random.Generator, int], FloatArray], *, draws: int = DRAWS, seed: int = SEED
) -> Drawn:
    """The same by drawing: `draw(generator, n)` gives n sets of inputs, shape (n, inputs).

    References
    ----------
    JCGM 101:2008, 7.2 to 7.7 (probabilistically symmetric interval).
    """
    got = np.asarray(model(draw(np.random.default_rng(seed), draws)), dtype=float)
    low, high = np.quantile(got, (0.025, 0.975), axis=0)
    mean, spread = got.mean(axis=0), got.std(axis=0, ddof=1)
    return Drawn(*(tuple(float(x) for x in np.atleast_1d(each)) for each in (mean, spread, low, high)))


def rectangular(half_width: float) -> float:
    """Standard uncertainty of an error that is anywhere within plus or minus `half_width` (JCGM 100:2008, 4.3.7)."""
    return float(half_width / 3.0**0.5)


def _propagated(value: FloatArray, covariance: FloatArray) -> Propagated:
    return Propagated(
        tuple(float(x) for x in value), tuple(tuple(float(x) for x in row) for row in np.atleast_2d(covariance))
    )
