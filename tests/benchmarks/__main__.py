"""Run every benchmark: ``python -m tests.benchmarks [NAME ...]``.

Each module prints its figures and returns 1 where an aim of its own is missed. Aims are ratios
within one run wherever they can be, since machines differ.
"""

from __future__ import annotations

import importlib
import pkgutil
import sys

import tests.benchmarks as package


def main(names: list[str]) -> int:
    """Run the named benchmarks, all without a name; 1 where one misses its aim."""
    known = [found.name for found in pkgutil.iter_modules(package.__path__)]
    known = [name for name in known if not name.startswith("_")]
    if stray := sorted(set(names) - set(known)):
        print(f"no benchmark {', '.join(stray)}; there are {', '.join(known)}")
        return 2
    missed = []
    for name in names or known:
        print(f"\n== {name}", flush=True)
        if importlib.import_module(f"tests.benchmarks.{name}").main():
            missed.append(name)
    print(f"\nmissed: {', '.join(missed) or 'none'}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
