"""Commands run in this process, as a shell would run them."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from maskgen.cli.main import run

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Ended:
    """How a command ended."""

    status: int
    out: str
    err: str


@pytest.fixture
def maskgen(monkeypatch, capsys):
    """Run `maskgen` from the top of the repository."""
    monkeypatch.chdir(ROOT)

    def call(*arguments):
        monkeypatch.setattr("sys.argv", ["maskgen", *map(str, arguments)])
        with pytest.raises(SystemExit) as ending:
            run()
        said = capsys.readouterr()
        return Ended(ending.value.code, said.out, said.err)

    return call
