"""Small estimation in plain Python: a Gaussian belief updated reading by reading, and least squares; it knows no trade.

Dimensions stay below about forty, so lists of floats are fast enough and nothing heavy is imported.
Source: R. E. Kalman, "A new approach to linear filtering and prediction problems", 1960; tests compare it with a direct
least-squares solution.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from operator import mul


def normal_cdf(z: float) -> float:
    """Probability that a standard normal lies below z."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def within(mean: float, sd: float, half: float) -> float:
    """Probability that a normal of `mean`, `sd` lies within [-half, half]."""
    if sd <= 0:
        return 1.0 if abs(mean) <= half else 0.0
    return max(0.0, normal_cdf((half - mean) / sd) - normal_cdf((-half - mean) / sd))


class Belief:
    """A joint Gaussian over n unknowns: `mean[i]` and covariance `cov[i][j]`. Mutable; each adviser call builds its
    own."""

    __slots__ = ("cov", "mean")

    def __init__(self, mean: Sequence[float], var: Sequence[float]) -> None:
        self.mean = list(mean)
        n = len(self.mean)
        self.cov = [[var[i] if i == j else 0.0 for j in range(n)] for i in range(n)]

    def share(self, members: Sequence[int], var: float) -> None:
        """Add a common uncertainty to some unknowns: what one teaches, the others learn."""
        for i in members:
            for j in members:
                self.cov[i][j] += var

    def blur(self, i: int, var: float) -> None:
        """Add independent uncertainty to unknown i."""
        self.cov[i][i] += var

    def renew(self, i: int, var: float) -> None:
        """Forget unknown i: a fresh one of mean 0 and variance `var` takes its place."""
        for row in self.cov:
            row[i] = 0.0
        self.cov[i] = [0.0] * len(self.mean)
        self.cov[i][i] = var
        self.mean[i] = 0.0

    def add(self, i: int, terms: Mapping[int, float]) -> None:
        """Replace unknown i by i + sum(factor * unknown j): a move known in turns, of unknown effect per turn."""
        mean, cov = self.mean, self.cov
        mean[i] += sum(f * mean[j] for j, f in terms.items())
        more = [0.0] * len(mean)
        for j, f in terms.items():
            more = [m + f * c for m, c in zip(more, cov[j], strict=True)]
        row = [c + m for c, m in zip(cov[i], more, strict=True)]
        corner = row[i] + sum(f * row[j] for j, f in terms.items())
        for other, c in zip(cov, row, strict=True):
            other[i] = c
        cov[i] = row
        cov[i][i] = corner

    def observe(self, weights: Mapping[int, float], value: float, var: float) -> float:
        """Take in a reading of sum(weight * unknown) with variance `var`; return its surprise in standard
        deviations."""
        mean, cov = self.mean, self.cov
        items = list(weights.items())
        gain = [0.0] * len(mean)
        for j, w in items:
            gain = [g + w * c for g, c in zip(gain, cov[j], strict=True)]
        spread = var + sum(w * gain[j] for j, w in items)
        if spread <= 0:
            return 0.0
        error = value - sum(w * mean[j] for j, w in items)
        for i, own in enumerate(gain):
            s = own / spread
            if s:
                mean[i] += s * error
                cov[i] = [c - s * g for c, g in zip(cov[i], gain, strict=True)]
        return error / math.sqrt(spread)

    def value(self, weights: Mapping[int, float]) -> tuple[float, float]:
        """Mean and standard deviation of sum(weight * unknown)."""
        items = list(weights.items())
        mean = sum(w * self.mean[j] for j, w in items)
        var = sum(w * v * self.cov[j][k] for j, w in items for k, v in items)
        return mean, math.sqrt(max(var, 0.0))


def cholesky(matrix: Sequence[Sequence[float]]) -> list[list[float]]:
    """Lower triangle L with L L' = matrix, for a symmetric positive definite matrix; `ValueError` if it is not."""
    n = len(matrix)
    low = [[0.0] * n for _ in range(n)]
    for i in range(n):
        row = low[i]
        for j in range(i + 1):
            other = low[j]
            total = matrix[i][j] - sum(map(mul, row, other))  # what is not worked out yet is nought
            if i == j:
                if total <= 0.0 or math.isnan(total):
                    raise ValueError("the matrix is not positive definite")
                row[i] = math.sqrt(total)
            else:
                row[j] = total / other[j]
    return low


def solve(low: Sequence[Sequence[float]], right: Sequence[float]) -> list[float]:
    """x with L L' x = right."""
    n = len(low)
    half = [0.0] * n
    for i, row in enumerate(low):
        half[i] = (right[i] - sum(map(mul, row, half))) / row[i]
    full = [0.0] * n
    for i, column in reversed(list(enumerate(zip(*low, strict=True)))):
        full[i] = (half[i] - sum(map(mul, column, full))) / column[i]
    return full


def inverse(low: Sequence[Sequence[float]]) -> list[list[float]]:
    """Inverse of L L': the covariance where L L' is the information."""
    n = len(low)
    return [solve(low, [1.0 if i == j else 0.0 for j in range(n)]) for i in range(n)]
