"""Student's t (Student 1908): its distribution function, and the quantiles that learnt durations rest on.

The distribution function is a regularised incomplete beta function (NIST Digital Library of Mathematical Functions,
8.17; Abramowitz and Stegun 1964, 26.7.1), worked out by its continued fraction (DLMF 8.17.22) with the method of Lentz
(1976) as Thompson and Barnett (1986) changed it; formula numbers from memory.
"""

from __future__ import annotations

import math
from functools import lru_cache
from statistics import NormalDist

_TINY = 1e-300
_CLOSE = 1e-16
_MOST_TERMS = 100_000
"""A continued fraction ends long before: it takes about the root of the greater parameter."""


def cdf(t: float, degrees: float) -> float:
    """Return the probability that Student's t with so many degrees of freedom is at most ``t``."""
    if t == 0:
        return 0.5
    beyond = _beyond(abs(t), degrees)
    return beyond if t < 0 else 1 - beyond


@lru_cache(maxsize=4096)
def quantile(share: float, degrees: float) -> float:
    """Return the value that Student's t exceeds with probability ``1 - share``.

    Raises:
        ValueError: the share is not between 0 and 1, or the degrees of freedom are not above 0.
    """
    if not 0 < share < 1 or not 0 < degrees < math.inf:
        raise ValueError(f"a share between 0 and 1 and degrees above 0 are wanted, got {share} and {degrees}")
    if share == 0.5:
        return 0.0
    if share < 0.5:
        return -_upper(share, degrees)
    return _upper(1 - share, degrees)


def _upper(tail: float, degrees: float) -> float:
    """Return the t beyond which so much lies, by Newton's steps kept inside a bracket that closes."""
    low, high = 0.0, 1.0
    while _beyond(high, degrees) > tail:
        low, high = high, high * 2
    t = min(max(NormalDist().inv_cdf(1 - tail) if tail > 1e-15 else high, low), high)
    for _ in range(200):
        wrong = _beyond(t, degrees) - tail
        low, high = (t, high) if wrong > 0 else (low, t)
        following = t + wrong / _density(t, degrees)
        if not low <= following <= high:
            following = (low + high) / 2
        if abs(following - t) <= 1e-15 * abs(t):
            return following
        t = following
    return t


def _density(t: float, degrees: float) -> float:
    log_height = math.lgamma((degrees + 1) / 2) - math.lgamma(degrees / 2) - math.log(degrees * math.pi) / 2
    return math.exp(log_height - (degrees + 1) / 2 * math.log1p(t * t / degrees))


def _beyond(t: float, degrees: float) -> float:
    """Return the probability beyond a ``t`` that is not negative."""
    square = t * t
    return 0.5 * _incomplete_beta(degrees / 2, 0.5, degrees / (degrees + square), square / (degrees + square))


def _incomplete_beta(a: float, b: float, x: float, rest: float) -> float:
    """Return the regularised incomplete beta function at ``x``; ``rest`` is 1 - x, not rounded twice."""
    if x <= 0 or rest <= 0:
        return 0.0 if x <= 0 else 1.0
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log(rest)
    if x < (a + 1) / (a + b + 2):
        return math.exp(log_front) * _fraction(a, b, x) / a
    return 1 - math.exp(log_front) * _fraction(b, a, rest) / b


def _fraction(a: float, b: float, x: float) -> float:
    c, d = 1.0, 1 / _not_zero(1 - (a + b) * x / (a + 1))
    value = d
    for m in range(1, _MOST_TERMS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for term in (even, odd):
            d = 1 / _not_zero(1 + term * d)
            c = _not_zero(1 + term / c)
            value *= c * d
        if abs(c * d - 1) < _CLOSE:
            break
    return value


def _not_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY
