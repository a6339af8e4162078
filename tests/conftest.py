"""Every test run gets a data folder of its own: no test ever reads or writes a shop's real one."""

from __future__ import annotations

import os
import tempfile

os.environ["SAMESTONE_DATA"] = tempfile.mkdtemp(prefix="samestone-tests-")
