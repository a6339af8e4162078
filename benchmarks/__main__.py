"""`python -m benchmarks [NAME …]`: run the benchmarks one after the other, each in its own process, one thread each.

Benchmarks are not tests: they measure, write benchmarks/results and the plots that docs/method shows, with date and
machine. Names are those of the modules, `accuracy_*`, `speed_*` and `plates`; without names all run.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).parent
ONE_THREAD = {name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")}


def available() -> list[str]:
    """All benchmarks: accuracy first, then speed, then the contact sheets."""
    runnable = [path for kind in ("accuracy_*.py", "speed_*.py", "plates.py") for path in sorted(HERE.glob(kind))]
    return [path.stem for path in runnable if '__name__ == "__main__"' in path.read_text(encoding="utf-8")]


def main(names: list[str]) -> int:
    unknown = sorted(set(names) - set(available()))
    if unknown:
        print(f"no benchmark is called {', '.join(unknown)}; there are: {', '.join(available())}", file=sys.stderr)
        return 2
    failed = []
    for name in names or available():
        print(f"\n== {name}", flush=True)
        start = time.perf_counter()
        ended = subprocess.run(
            [sys.executable, "-m", f"benchmarks.{name}"], env={**os.environ, **ONE_THREAD}, check=False
        )
        print(f"== {name}: {time.perf_counter() - start:.0f} s, status {ended.returncode}", flush=True)
        failed += [name] if ended.returncode else []
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
