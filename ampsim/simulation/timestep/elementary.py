"""exp and its kin without branches or calls, so that a compiler works several numbers out at a time.

Taylor's series after taking out powers of two by the bits of a number; good to 1e-15 of the value (a test). How their
terms are summed: G. Estrin, Organization of computer systems, Western Joint Computer Conference, 1960 (from memory).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from .compiled import inline_early

# Adding this rounds to a whole number and leaves it in the lowest bits.
_ROUND = 6755399441055744.0
_ONE_BITS, _MANTISSA, _WHOLE_BITS = 4607182418800017408, 4503599627370495, 4841369599423283200
_BY_LN2, _LN2_HIGH, _LN2_LOW = 1.4426950408889634, 6.93147180369123816490e-01, 1.90821492927058770002e-10


@inline_early
def exp(x: Any) -> Any:
    """The exponential function; beyond 708 and -708 its value there."""
    x = x if x > -708.0 else -708.0
    x = x if x < 708.0 else 708.0
    shifted = x * _BY_LN2 + _ROUND
    whole = shifted - _ROUND
    r = (x - whole * _LN2_HIGH) - whole * _LN2_LOW
    # Terms in pairs, and pairs of pairs, side by side (Estrin's scheme): in a row each would wait for the one before.
    q = r * r
    s = q * q
    one = (1.0 + r) + q * (0.5 + r * (1.0 / 6.0))
    two = (1.0 / 24.0 + r * (1.0 / 120.0)) + q * (1.0 / 720.0 + r * (1.0 / 5040.0))
    three = (1.0 / 40320.0 + r * (1.0 / 362880.0)) + q * (1.0 / 3628800.0 + r * (1.0 / 39916800.0))
    four = 1.0 / 479001600.0 + r * (1.0 / 6227020800.0)
    p = (one + s * two) + (s * s) * (three + s * four)
    return p * np.int64((np.float64(shifted).view(np.int64) << 52) + _ONE_BITS).view(np.float64)


@inline_early
def log(x: Any) -> Any:
    """The natural logarithm of a positive number; of zero, about that of the smallest."""
    bits = np.float64(x).view(np.int64)
    power = np.int64((bits >> 52) | _WHOLE_BITS).view(np.float64) - 4503599627370496.0 - 1023.0
    m = np.int64((bits & _MANTISSA) | _ONE_BITS).view(np.float64)
    large = m > 1.4142135623730951
    m = m * 0.5 if large else m
    power = power + 1.0 if large else power
    s = (m - 1.0) / (m + 1.0)
    q = s * s
    # As in `exp`.
    r = q * q
    t = r * r
    one = (1.0 + q * (1.0 / 3.0)) + r * (1.0 / 5.0 + q * (1.0 / 7.0))
    two = (1.0 / 9.0 + q * (1.0 / 11.0)) + r * (1.0 / 13.0 + q * (1.0 / 15.0))
    three = (1.0 / 17.0 + q * (1.0 / 19.0)) + r * (1.0 / 21.0 + q * (1.0 / 23.0))
    p = (one + t * two) + (t * t) * three
    return power * _LN2_LOW + (2.0 * s * p + power * _LN2_HIGH)


@inline_early
def log1p(y: Any) -> Any:
    """ln(1 + y) for y from 0 to 1, exact for the smallest too."""
    u = 1.0 + y
    return log(u) + (y - (u - 1.0)) / u


@inline_early
def power(base: Any, exponent: Any) -> Any:
    """A power of a number that is not negative, its exponent above zero."""
    return exp(exponent * log(base))


@inline_early
def omega(y: Any) -> Any:
    """Wright's omega function: w + ln(w) = y, for y above -700.

    Three steps of the fourth order: F. N. Fritsch, R. E. Shafer, W. P. Crowley, Comm. ACM 16, 1973, algorithm 443.
    """
    small = exp(y if y < 1.0 else 1.0)
    large = y if y > 1.0 else 1.0
    w = small / (1.0 + small) if y < 1.0 else large - log(large) * large / (1.0 + large)
    for _ in range(3):
        r = y - w - log(w)
        q = (1.0 + w) * (1.0 + w + 2.0 / 3.0 * r)
        w = w * (1.0 + r / (1.0 + w) * (q - 0.5 * r) / (q - r))
    # Far below zero it is the exponential function, and the steps would add what y lacks in its last digit.
    return small if y < -37.0 else w
