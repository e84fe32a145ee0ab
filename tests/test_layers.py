"""Imports run one way: each package knows only the packages above it."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "maskgen"
BASE = {"errors", "units", "model"}
MAY_IMPORT = {
    "errors": set(),
    "units": set(),
    "model": {"errors", "units"},
    "formats": BASE,
    "geometry": BASE,
    "colour": BASE,
    "trace": BASE | {"geometry"},
    "shape": BASE | {"geometry"},
    "plan": BASE | {"geometry", "colour", "trace", "shape"},
    "check": BASE | {"geometry", "colour", "trace", "shape", "plan"},
    # A name list keeps finished outlines as path data, to put them down at many places.
    "pipeline": BASE | {"geometry", "colour", "trace", "shape", "plan", "check", "formats"},
    "report": BASE | {"geometry", "colour", "trace", "shape", "plan", "check", "formats"},
    "cli": BASE | {"geometry", "colour", "trace", "shape", "plan", "check", "pipeline", "formats", "report"},
}


def imported_packages(path):
    for node in ast.walk(ast.parse(path.read_text())):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            names = [node.module or ""]
        for name in names:
            parts = name.split(".")
            if parts[0] == "maskgen" and len(parts) > 1:
                yield parts[1]


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_run_one_way(path):
    package = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    if package in {"__init__", "__main__"}:
        return
    assert package in MAY_IMPORT, f"{package} has no place in the layout yet"
    found = set(imported_packages(path)) - {package, "__version__"}
    assert found <= MAY_IMPORT[package], f"{path.name} imports {sorted(found - MAY_IMPORT[package])}"
