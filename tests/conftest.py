"""One setting for all tests."""

from hypothesis import settings

# The same examples on every run and machine, so that a red run is the doing of the change it tests.
# `pytest --hypothesis-profile=default` looks for new ones.
settings.register_profile("steady", derandomize=True)
settings.load_profile("steady")
