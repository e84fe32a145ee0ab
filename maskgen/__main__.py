"""`python -m maskgen` is the command line."""

from maskgen.cli.main import run

run()
