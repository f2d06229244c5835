"""Every bench in turn, or those named: `python -m bench [speed effort calibration …]`; called by `make bench`.

Each figure stands beside its baseline of the same run. A missed aim is printed as such and is no failure of the run;
the exit status says only whether every bench came to its end.
"""

from __future__ import annotations

import importlib
import os
import sys
import time
import traceback

# name: arguments that keep the whole run within some minutes; by itself each takes its own defaults
BENCHES: dict[str, list[str]] = {
    "seawater": [],
    "store": ["5"],
    "importing": ["50000"],
    "speed": [],
    "calibration": ["--systems", "40"],
    "effort": [],
    "simulator": [],
    "learning": ["6", "8"],
    "watch": ["66", "2"],
    "trust": [],
    "feeds": ["20000", "10"],
    "ingest": [],
    "trace": ["100000", "300"],
    "pages": ["--each", "20"],
    "courses": [],
}


def main(argv: list[str] | None = None) -> int:
    """Run them; 1 when one of them crashed, 2 for a name that is none."""
    given = list(sys.argv[1:] if argv is None else argv)
    if given[:1] in (["-h"], ["--help"]):
        print(f"{__doc__}\nBenches: {', '.join(BENCHES)}. What follows a single name is handed to it.")
        return 0
    names = []
    while given and given[0] in BENCHES:
        names.append(given.pop(0))
    if given and len(names) != 1:
        print(f"no bench {given[0]!r}; there are {', '.join(BENCHES)}", file=sys.stderr)
        return 2
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # every import would compile anew, here and in children
    sys.dont_write_bytecode = False
    crashed = []
    start = time.perf_counter()
    for name in names or BENCHES:
        print(f"\n=== {name} ===", flush=True)
        began = time.perf_counter()
        try:
            importlib.import_module(f"bench.{name}").main(given or BENCHES[name])
        except SystemExit as exc:
            if exc.code not in (None, 0):
                crashed.append(name)
        except Exception:
            traceback.print_exc()
            crashed.append(name)
        print(f"--- {name}: {time.perf_counter() - began:.0f} s", flush=True)
    print(f"\nAll in {time.perf_counter() - start:.0f} s." + (f" Crashed: {', '.join(crashed)}." if crashed else ""))
    return 1 if crashed else 0


if __name__ == "__main__":
    sys.exit(main())
