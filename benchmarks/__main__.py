"""Run all benchmarks, or those named: every module of this folder that has a `run` function."""

from __future__ import annotations

import sys
from importlib import import_module
from pkgutil import iter_modules

import benchmarks


def main(names: list[str]) -> int:
    modules = {m.name: m for m in iter_modules(benchmarks.__path__) if not m.name.startswith("_")}
    unknown = [n for n in names if n not in modules]
    if unknown:
        print(f"no benchmark named {', '.join(unknown)}; there are: {', '.join(modules)}", file=sys.stderr)
        return 2
    for name in names or modules:
        run = getattr(import_module(f"benchmarks.{name}"), "run", None)
        if run is not None:
            print(f"== {name}", flush=True)
            run()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
