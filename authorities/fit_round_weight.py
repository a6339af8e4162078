"""Fit ln k of round brilliants on table and depth, from the open diamonds table; prints the figures of cuts.toml.

k = ct / (d^2 h). Rows with a zero, with diameters more than 0.5 mm apart or whose depth percentage does not follow
from their lengths are left out, and every stone that is listed twice is counted once. Listed weights are cut to
hundredths, so 0.004 ct is added where the solid is compared.
"""

from __future__ import annotations

import numpy as np
from plotnine.data import diamonds

from samestone import gem


def main() -> None:
    d = diamonds[(diamonds.x > 0) & (diamonds.y > 0) & (diamonds.z > 0)]
    d = d[(d.x - d.y).abs() <= 0.5]
    d = d[(100 * d.z / ((d.x + d.y) / 2) - d.depth).abs() <= 1]
    d = d.assign(low=d[["x", "y"]].min(axis=1), high=d[["x", "y"]].max(axis=1))
    d = d.drop_duplicates(["carat", "low", "high", "z", "color", "clarity", "table", "depth"])
    mean = ((d.x + d.y) / 2).to_numpy()
    k = (d.carat / d.z).to_numpy() / mean**2
    table, depth, ones = d.table.to_numpy() - 57, 100 * d.z.to_numpy() / mean - 61.8, np.ones(len(d))
    print(len(d), "stones; median k", round(float(np.median(k)), 6))
    print("plain 0.0061: |error| 50, 95, 99 %:", np.quantile(abs(0.0061 / k - 1), [0.5, 0.95, 0.99]).round(4))
    for name, columns in (("table and depth", [ones, table, depth]), ("depth", [ones, depth])):
        matrix = np.column_stack(columns)
        coefficients = np.linalg.lstsq(matrix, np.log(k), rcond=None)[0]
        error = abs(np.expm1(np.log(k) - matrix @ coefficients))
        print(name, coefficients.round(7), "|error| 50, 95, 99 %:", np.quantile(error, [0.5, 0.95, 0.99]).round(4))

    errors = []
    for s in d.sample(800, random_state=5).itertuples():
        size = gem.weight.Size(s.high, s.low, s.z, s.table)
        errors.append(abs(gem.shape.estimate_by_solid("round_brilliant", size).weight_ct / (s.carat + 0.004) - 1))
    print("solid, 800 of them: |error| 50, 95, 99 %:", np.quantile(errors, [0.5, 0.95, 0.99]).round(4))


if __name__ == "__main__":
    main()
