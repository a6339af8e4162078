"""Average two networks of one family, weight by weight: python -m scripts.average_weights A.npz B.npz SHARE OUT.npz

Where one was learned on from the other, the average often does better than either (Wortsman et al., Model soups, ICML
2022). SHARE is that of B. Only arrays of the same names and shapes can be averaged.
"""

from __future__ import annotations

import sys

import numpy as np


def main(first: str, second: str, share: float, out: str) -> None:
    with np.load(first) as a, np.load(second) as b:
        if {name: a[name].shape for name in a.files} != {name: b[name].shape for name in b.files}:
            raise SystemExit(f"{first} and {second} are not of one build: expected the same names and shapes")
        mixed = {n: (1 - share) * a[n].astype(np.float32) + share * b[n].astype(np.float32) for n in a.files}
    np.savez_compressed(out, **{name: values.astype(np.float16) for name, values in mixed.items()})


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], float(sys.argv[3]), sys.argv[4])
