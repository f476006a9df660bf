"""The integral of a likelihood over all unknowns of a structure, by importance sampling around its best fit.

1. Gauss-Newton finds the unknowns that fit best, with the noise shrunk step by step from wide to real.
2. Readings that pin the unknowns down much more sharply than the box does get one unknown each (a pivot), chosen by
   complete pivoting of the Jacobian.
3. The other unknowns are drawn from the normal approximation; the pivots are then solved for, so that the readings come
   out right but for a drawn error of the meter. The weight of a draw is likelihood times prior over the density it
   was drawn from: the mean weight is the integral, however good the fit was; a bad fit shows as a large error.
4. The normal approximation is fitted anew to the weighted draws, and so on until the error is small.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.truth.model import KEEP, MEANING, SUPPLY, Group, Structure
from tests.truth.networks import Array

STEEP, REACH = 400, 8.0
_STEPS = range(-int(REACH) * STEEP, int(REACH) * STEEP + 2)
_NORMAL = np.array([0.5 * math.erfc(-k / STEEP / math.sqrt(2)) for k in _STEPS])
COARSE = ((0.25, False), (0.06, False))
MIDDLE = ((0.03, False), (0.01, False))
FINE = (
    *((t, False) for t in (0.004, 0.0015, 0.0006, 0.0002)),
    *((0.0, False),) * 3,
    *((0.0, True),) * 3,
)
MOST_KEPT = 500  # draws of a round that the approximation is fitted to
LOG_LIKED = 0.1
FAR = 0.1  # share of draws, in each direction, that go further out
SOLVED = 0.05  # spreads
SHARP = 4.0  # a reading is sharp if one standard deviation of its pivot moves it by so many of its own


def quantile(z: Array) -> Array:
    """The normal distribution function, by linear interpolation in a table (error below 1e-6)."""
    at = (np.clip(z, -REACH, REACH) + REACH) * STEEP
    index = at.astype(np.int64)
    return _NORMAL[index] + (at - index) * (_NORMAL[index + 1] - _NORMAL[index])


class Fit:
    """Best fits of a structure, one for each stratum of its severity, all at once.

    `z`: (strata, unknowns), standard normal scale. After `finish`: `slopes`: (strata, groups, unknowns) of the
    residuals over their spread; `trust`: (strata, groups), how surely a group was not mistyped; `log_evidence`: by the
    normal approximation. `low`, `high`: the severity's ohms at the ends of each stratum. `skip`: a situation whose
    meaning does not count."""

    def __init__(self, s: Structure, low: Array, high: Array, skip: str | None = None) -> None:
        self.s, self.low, self.high = s, low, high
        self.z = np.zeros((len(low), s.size))
        self.keep = np.array([float(not (g.kind == MEANING and g.situation == skip)) for g in s.groups])
        self.spread = np.array([g.spread for g in s.groups])
        self.reach = np.array([g.reach for g in s.groups])
        self.two_sided = np.array([g.cells is not None for g in s.groups])
        self.peak = np.array([g.peak for g in s.groups])
        self.other = np.array([g.other if g.kind != SUPPLY else -1e5 for g in s.groups])
        self.objective = np.zeros(len(low))
        self.slopes = self.trust = self.log_evidence = np.zeros(0)

    def only(self, which: npt.NDArray[np.bool_]) -> None:
        """Go on with these strata."""
        self.z, self.low, self.high = self.z[which], self.low[which], self.high[which]
        self.objective = self.objective[which]

    def _weigh(self, raw: Array, z: Array, tau: float, strict: bool) -> tuple[Array, Array, Array]:
        """Residuals over spread, weights, objective. Not strict: a reading far off pulls still, if less. The strict
        objective says what the fit costs at least, however wide the noise: groups lose by their distance only."""
        wide = self._wide(tau)
        r = raw / wide
        prior = 0.5 * (z * z).sum(axis=-1)
        if not strict:
            return r, self.keep / (1 + (r / 4) ** 2), (self.keep * 8 * np.log1p((r / 4) ** 2)).sum(axis=-1) + prior
        right = np.where(self.two_sided, self.peak, math.log(KEEP))
        right = right - np.minimum(r * r / 2, 1e4)
        best = np.logaddexp(right, self.other)
        return r, self.keep * np.exp(right - best), (-self.keep * best).sum(axis=-1) + prior

    def _wide(self, tau: float) -> Array:
        return np.asarray(np.sqrt(self.spread**2 + (tau * self.reach) ** 2))

    def _slopes(self, tau: float) -> tuple[Array, Array]:
        """Residuals at z, and their slopes over the spread."""
        strata, size, step = len(self.z), self.s.size, 1e-3
        points = np.concatenate([self.z[:, None, :], self.z[:, None, :] + step * np.eye(size)], axis=1)
        again = [np.repeat(x, size + 1) for x in (self.low, self.high)]
        raw = self.s.residuals(quantile(points.reshape(-1, size)), *again).reshape(strata, size + 1, -1)
        return raw[:, 0], (raw[:, 1:] - raw[:, :1]).transpose(0, 2, 1) / step / self._wide(tau)[None, :, None]

    def improve(self, stages: Sequence[tuple[float, bool]]) -> None:
        """Gauss-Newton steps; each stage: how much wider than real the noise is (a part of `reach`), strict."""
        for tau, strict in stages:
            raw, slopes = self._slopes(tau)
            r, weight, objective = self._weigh(raw, self.z, tau, strict)
            curve = np.eye(self.s.size) + np.einsum("bki,bk,bkj->bij", slopes, weight, slopes)
            gradient = self.z + np.einsum("bki,bk->bi", slopes, weight * r)
            move = -np.linalg.solve(curve, gradient[..., None])[..., 0]
            parts = np.array([1.0, 0.4, 0.1])
            tried = np.clip(self.z[None] + parts[:, None, None] * move[None], -5, 5)
            many = [np.tile(x, len(parts)) for x in (self.low, self.high)]
            raw = self.s.residuals(quantile(tried.reshape(-1, self.s.size)), *many).reshape(*tried.shape[:2], -1)
            found = self._weigh(raw, tried, tau, strict)[2]
            best = found.argmin(axis=0)
            rows = np.arange(len(self.z))
            better = found[best, rows] < objective
            self.z = np.where(better[:, None], tried[best, rows], self.z)
            raw = np.where(better[:, None], raw[best, rows], r * self._wide(tau))
            self.objective = self._weigh(raw, self.z, tau, True)[2]

    def finish(self) -> None:
        raw, self.slopes = self._slopes(0.0)
        _, self.trust, self.objective = self._weigh(raw, self.z, 0.0, True)
        curve = np.eye(self.s.size) + np.einsum("bki,bk,bkj->bij", self.slopes, self.trust, self.slopes)
        self.log_evidence = -self.objective - np.linalg.slogdet(curve)[1] / 2


def choose_pivots(s: Structure, slopes: Array, trust: Array) -> list[tuple[int, int]]:
    """(group, unknown) pairs by complete pivoting, sharpest first."""
    usable = np.array([g.cells is not None for g in s.groups]) & (trust > 0.5)
    a = np.where(usable[:, None], slopes, 0.0).copy()
    # a log-uniform part has little hold on a reading where it is small, so it comes after those that are uniform
    liking = np.array([LOG_LIKED if n in s.unknowns and s.unknowns[n].log else 1.0 for n in s.names])
    out = []
    while a.size:
        sharp = np.abs(a) >= SHARP
        at = np.unravel_index(int(np.where(sharp, np.abs(a) * liking, 0.0).argmax()), a.shape)
        i, j = int(at[0]), int(at[1])
        if abs(a[i, j]) < SHARP:
            break
        out.append((i, j))
        a = a - np.outer(a[:, j], a[i]) / a[i, j]
        a[i, :] = 0
        a[:, j] = 0
    return out


def normal_density(z: Array) -> Array:
    return np.asarray(np.maximum(np.exp(-0.5 * z**2) / math.sqrt(2 * math.pi), 1e-6))


def _blurred(g: Group, residual: Array, by: float) -> Array:
    """How well a residual suits the group, relative to the best, if it is only known to within `by`."""
    assert g.edges is not None
    assert g.cells is not None
    widths = np.diff(g.edges)
    density = g.cells / widths
    total = np.zeros(residual.shape)
    for shift in np.linspace(-1.5, 1.5, 7):
        at = residual + shift * by
        cell = np.clip(np.searchsorted(g.edges, at) - 1, 0, len(widths) - 1)
        inside = (at >= g.edges[0]) & (at <= g.edges[-1])
        total += np.where(inside, density[cell], 0.0) * math.exp(-shift * shift / 2)
    return np.asarray(total / total.max() if total.max() > 0 else np.ones(residual.shape))


@dataclass
class Estimate:
    """`log_mean`: logarithm of the integral; `error`: its standard deviation (relative, of the integral)."""

    log_mean: float
    error: float
    draws: int


class Sampler:
    """Importance sampling for one stratum of a structure."""

    def __init__(
        self, s: Structure, z: Array, slopes: Array, trust: Array, low: float, high: float, setting: str | None = None
    ) -> None:
        self.s, self.low, self.high, self.setting = s, low, high, setting
        self.trust = trust
        pairs = choose_pivots(s, slopes, trust)
        self.rows = [i for i, _ in pairs]
        self.pivots = [j for _, j in pairs]
        self.rest = [j for j in range(s.size) if j not in self.pivots]
        self.centre_z, self.centre_u = z, quantile(z)
        curve = np.eye(s.size) + np.einsum("ki,k,kj->ij", slopes, trust, slopes)
        covariance = np.linalg.inv(curve)
        self.mean = z[self.rest]
        self.covariance = covariance[np.ix_(self.rest, self.rest)]
        self._first = self.mean.copy(), self.covariance.copy()
        self.spread = np.array([s.groups[i].spread for i in self.rows])
        self._start()
        self._error_tables(slopes)
        self.drawn: list[tuple[Array, Array]] = []
        self.seen: list[tuple[float, float, int]] = []  # log mean, relative variance of one draw, draws

    def _pivot_residuals(self, u: Array) -> Array:
        found = self.s.residuals(np.clip(u, -1, 2), self.low, self.high)
        return found[:, self.rows] / self.spread

    def _start(self) -> None:
        """Inverse of the pivots' Jacobian at the best fit, in quantiles."""
        k, step = len(self.pivots), 1e-4
        if not k:
            return
        points = np.repeat(self.centre_u[None, :], k + 1, axis=0)
        for i, j in enumerate(self.pivots):
            points[i + 1, j] += step
        r = self._pivot_residuals(points)
        self.inverse = np.linalg.pinv((r[1:] - r[:1]).T / step)

    def _error_tables(self, slopes: Array) -> None:
        """For each pivot the errors (in spreads) of its readings, as cells with probabilities. Other groups that follow
        from one pivot alone share its table, so that the errors drawn suit them too."""
        s, k = self.s, len(self.pivots)
        self.tables: list[tuple[Array, Array]] = []
        if not k:
            return
        follow = (slopes[:, self.pivots] / normal_density(self.centre_z[self.pivots])) @ self.inverse
        left = slopes[:, self.rest] - follow @ slopes[np.ix_(self.rows, self.rest)]
        left_spread = np.sqrt(np.einsum("ki,ij,kj->k", left, self.covariance, left))
        raw = s.residuals(self.centre_u[None], self.low, self.high)[0] / np.array([g.spread for g in s.groups])
        for c, i in enumerate(self.rows):
            g = s.groups[i]
            assert g.edges is not None
            assert g.cells is not None
            edges = g.edges / g.spread
            middle = (edges[1:] + edges[:-1]) / 2
            chance = g.cells.copy()
            for m, other in enumerate(s.groups):
                if m in self.rows or other.edges is None or other.cells is None or self.trust[m] < 0.5:
                    continue
                aside = math.sqrt(max(float(follow[m] @ follow[m] - follow[m, c] ** 2), 0.0) + left_spread[m] ** 2)
                if aside < 1.0 and abs(follow[m, c]) > 0.3:
                    at = (raw[m] + follow[m, c] * (middle - raw[i])) * other.spread
                    chance *= _blurred(other, at, aside * other.spread)
            chance += 0.02 * chance.max()
            self.tables.append((edges, chance / chance.sum()))

    def draw(self, n: int, rng: np.random.Generator, wider: float = 1.15) -> tuple[Array, Array]:
        """Rows of the unknowns that are no pivots (standard normal scale), and the logarithm of their weights."""
        s, size = self.s, self.s.size
        values, vectors = np.linalg.eigh(self.covariance)
        narrow = np.sqrt(np.clip(values * wider**2, 1e-8, 1.3))
        wide = np.maximum(narrow, np.minimum(2.2 * narrow, 1.0))  # never much wider than before any reading
        far = rng.random((n, len(self.rest))) < FAR
        step = rng.standard_normal((n, len(self.rest))) * np.where(far, wide, narrow)
        z = self.mean + step @ vectors.T
        near_q = (1 - FAR) * np.exp(-0.5 * (step / narrow) ** 2) / narrow
        log_q = np.log(near_q + FAR * np.exp(-0.5 * (step / wide) ** 2) / wide).sum(axis=1)
        log_p = -0.5 * (z * z).sum(axis=1)
        u = np.empty((n, size))
        u[:, self.rest] = quantile(z)
        log_w = log_p - log_q
        if self.pivots:
            error = np.empty((n, len(self.pivots)))
            for c, (edges, chance) in enumerate(self.tables):
                cell = np.minimum(np.searchsorted(np.cumsum(chance), rng.random(n)), len(chance) - 1)
                widths = np.diff(edges)
                error[:, c] = edges[cell] + rng.random(n) * widths[cell]
                log_w -= np.log(chance[cell] / widths[cell])
            u[:, self.pivots] = self.centre_u[self.pivots]
            log_w -= self._solve(u, error)
        inside = ((u >= 0) & (u <= 1)).all(axis=1) & np.isfinite(log_w)
        log_w = np.where(inside, log_w, -np.inf)
        likelihood = np.full(n, -np.inf)
        if inside.any():
            likelihood[inside] = s.log_likelihood(u[inside], self.low, self.high, self.setting)
        return z, log_w + likelihood

    def _solve(self, u: Array, wanted: Array) -> Array:
        """Move the pivots in `u` until their residuals are as wanted: Broyden's steps, then Newton's for the rows that
        have not arrived. Returns the logarithm of the Jacobian's determinant; infinity where it was not solved."""
        n = len(u)
        inverse = np.repeat(self.inverse[None, :, :], n, axis=0)
        off = self._pivot_residuals(u) - wanted
        for _ in range(6):
            move = np.clip(-np.einsum("nij,nj->ni", inverse, off), -0.5, 0.5)
            u[:, self.pivots] = np.clip(u[:, self.pivots] + move, -0.5, 1.5)
            after = self._pivot_residuals(u) - wanted
            image = np.einsum("nij,nj->ni", inverse, after - off)
            bottom = np.einsum("ni,ni->n", move, image)
            good = np.abs(bottom) > 1e-3 * np.maximum((move**2).sum(axis=1), 1e-12)
            factor = np.where(good[:, None], (move - image) / np.where(good, bottom, 1.0)[:, None], 0.0)
            inverse = inverse + np.einsum("ni,nj->nij", factor, np.einsum("ni,nij->nj", move, inverse))
            off = after
            if float(np.quantile(np.abs(off).max(axis=1), 0.9)) < SOLVED:
                break
        out = np.full(n, np.inf)
        todo = np.arange(n)
        for turn in range(5):
            off, jacobian = self._jacobian(u[todo], wanted[todo])
            _, log_det = np.linalg.slogdet(jacobian)
            there = np.abs(off).max(axis=1) < SOLVED
            out[todo[there]] = log_det[there]
            beyond = ((u[todo][:, self.pivots] < -0.3) | (u[todo][:, self.pivots] > 1.3)).any(axis=1)
            left = ~there & np.isfinite(log_det) & ~(beyond & (turn > 0))
            todo = todo[left]
            if not len(todo):
                break
            move = -np.linalg.solve(jacobian[left], off[left][..., None])[..., 0]
            at = u[np.ix_(todo, self.pivots)] + np.clip(move, -0.3, 0.3)
            u[np.ix_(todo, self.pivots)] = np.clip(at, -0.5, 1.5)
        return out

    def _jacobian(self, u: Array, wanted: Array) -> tuple[Array, Array]:
        """Of the pivots' residuals: what is left of them, and their slopes."""
        n, k, step = len(u), len(self.pivots), 1e-6
        points = np.repeat(u[:, None, :], k + 1, axis=1)
        for i, j in enumerate(self.pivots):
            points[:, i + 1, j] += step
        r = self._pivot_residuals(points.reshape(n * (k + 1), -1)).reshape(n, k + 1, k)
        return r[:, 0] - wanted, (r[:, 1:] - r[:, :1]).transpose(0, 2, 1) / step

    def run(self, n: int, rng: np.random.Generator) -> None:
        """Draw `n` more, then fit the normal approximation anew to all that were drawn so far."""
        z, log_w = self.draw(n, rng)
        top = float(log_w.max())
        if not math.isfinite(top):
            self.seen.append((-math.inf, 0.0, n))
            return
        w = np.exp(log_w - top)
        mean = float(w.mean())
        self.seen.append((top + math.log(mean), float(w.var()) / mean**2, n))
        some = np.argsort(-log_w)[:MOST_KEPT]
        self.drawn.append((z[some], log_w[some]))
        d = len(self.rest)
        if not d:
            return
        log_w = np.concatenate([x for _, x in self.drawn])
        z = np.concatenate([x for x, _ in self.drawn])
        w = np.exp(log_w - log_w.max())
        effective = float(w.sum() ** 2 / (w * w).sum())
        share = effective / (effective + d)
        part = w / w.sum()
        middle = part @ z
        off = z - middle
        self.mean = share * middle + (1 - share) * self._first[0]
        self.covariance = share * (off.T @ (off * part[:, None])) + (1 - share) * self._first[1]

    @property
    def estimate(self) -> Estimate:
        """All rounds together; the first, drawn from the unfitted approximation, only as long as there is no other."""
        draws = sum(n for _, _, n in self.seen)
        rounds = self.seen[1:] or self.seen
        top = max(m for m, _, _ in rounds)
        if not math.isfinite(top):
            return Estimate(-math.inf, 1.0, draws)
        n = np.array([x for _, _, x in rounds], dtype=float)
        means = np.array([math.exp(m - top) for m, _, _ in rounds])
        value = float(n @ means / n.sum())
        squares = np.array([(v + 1) for _, v, _ in rounds]) * means**2
        variance = max(float(n @ squares / n.sum()) - value**2, 0.0)
        return Estimate(top + math.log(value), min(math.sqrt(variance / n.sum()) / value, 1.0), draws)
