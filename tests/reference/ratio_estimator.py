"""A ratio of sums with its interval, computed apart from the server.

Cochran, W. G., Sampling Techniques, 3rd ed., Wiley 1977, chapter 6 (the ratio estimate
and its linearised variance). Here by the expanded form
    s2 = (s_yy - 2 R s_xy + R^2 s_xx) / (n xbar^2)
of variances and covariance with n - 1, in exact fractions up to the square root; the
server sums squared residuals in floating point. Student's t, two-sided 95 %, to three
decimals from the NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2.

    python3 ratio_estimator.py           rewrites ratio_estimator.json
"""

import json
import math
from fractions import Fraction
from pathlib import Path

HERE = Path(__file__).parent

# NIST/SEMATECH e-Handbook 1.3.6.7.2, upper 0.025.
T_975 = {1: "12.706", 2: "4.303", 3: "3.182", 4: "2.776", 5: "2.571", 6: "2.447", 7: "2.365", 9: "2.262"}

# (metal lost, metal charged) of heats, in kilograms.
SAMPLES = {
    "two heats": [("0.3", "18"), ("0.5", "20")],
    "three heats of unlike size": [("0.2", "6"), ("0.9", "30"), ("0.4", "12.5")],
    "one heat gained": [("-0.05", "10"), ("0.25", "12"), ("0.3", "11"), ("0.15", "9.5")],
    "eight heats": [("0.31", "18"), ("0.28", "18"), ("0.4", "20"), ("0.22", "15.5"), ("0.35", "18"), ("0.5", "25"),
                    ("0.19", "12"), ("0.3", "16")],
    "ten heats, one bad": [("0.3", "18")] * 5 + [("0.34", "18"), ("0.29", "17"), ("0.27", "18"), ("0.33", "19"), ("2.1", "18")],
}


def account(pairs):
    """Ratio, low and high of one sample."""
    n = len(pairs)
    ys, xs = [Fraction(y) for y, _ in pairs], [Fraction(x) for _, x in pairs]
    ybar, xbar = sum(ys) / n, sum(xs) / n
    ratio = ybar / xbar

    def spread(a, abar, b, bbar):
        return sum((p - abar) * (q - bbar) for p, q in zip(a, b)) / (n - 1)

    s2 = spread(ys, ybar, ys, ybar) - 2 * ratio * spread(ys, ybar, xs, xbar) + ratio**2 * spread(xs, xbar, xs, xbar)
    reach = float(Fraction(T_975[n - 1])) * math.sqrt(s2 / n) / float(xbar)
    return {"ratio": float(ratio), "low": float(ratio) - reach, "high": float(ratio) + reach}


def cases():
    """All samples with what comes out of them."""
    return [
        {"name": name, "pairs": [[float(y), float(x)] for y, x in pairs], **account(pairs)} for name, pairs in SAMPLES.items()
    ]


if __name__ == "__main__":
    text = json.dumps({"source": "ratio_estimator.py", "cases": cases()}, indent=1)
    (HERE / "ratio_estimator.json").write_text(text + "\n")
