"""The stored values are those that ratio_estimator.py computes, and one is worked by hand."""

import json
import unittest
from pathlib import Path

import ratio_estimator


class RatioEstimator(unittest.TestCase):
    def test_the_stored_values_are_the_computed_ones(self):
        stored = json.loads((Path(__file__).parent / "ratio_estimator.json").read_text())
        self.assertEqual(stored["cases"], json.loads(json.dumps(ratio_estimator.cases())))

    def test_two_heats_by_hand(self):
        # R = 0.8/38; residuals of two are equal and opposite: d = 0.3 - 18 R = -3/38.
        # s of R = |d| sqrt(2) / sqrt(2) / 19 = 3/38/19; times 12.706.
        found = ratio_estimator.account([("0.3", "18"), ("0.5", "20")])
        self.assertAlmostEqual(found["ratio"], 0.8 / 38, places=14)
        self.assertAlmostEqual(found["high"] - found["ratio"], 12.706 * 3 / 38 / 19, places=12)


if __name__ == "__main__":
    unittest.main()
