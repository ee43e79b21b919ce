"""How long ``review`` and ``--help`` take against importing pandas and against importing numpy and
pydantic alone.

Run it with ``python tests/bench/bench_review.py``. It prints, and judges nothing: a slow minute is
no fault.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from timing import medians, show  # noqa: E402

EXAMPLE = "tests/examples/passing-leave-in.toml"
PANDAS, BARE = "import pandas", "import numpy, pydantic"
COMMANDS = {
    PANDAS: ("-c", "import pandas"),
    BARE: ("-c", "import numpy, pydantic"),
    "--help": ("-m", "preservecheck", "--help"),
    "review": ("-m", "preservecheck", "review", EXAMPLE),
    "review --format json": ("-m", "preservecheck", "review", EXAMPLE, "--format", "json"),
}

if __name__ == "__main__":
    show(medians(COMMANDS), (PANDAS, BARE))
