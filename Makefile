# Two commands for everybody: `make demo` and `make test`. Both set up their own virtual environment.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
export PIP_DISABLE_PIP_VERSION_CHECK = 1
# The build backend warns of what an editable installation is; that is meant here.
export PYTHONWARNINGS = ignore

.PHONY: demo test lint bench browser clean

demo: $(VENV)/ready
	@$(BIN)/maskgen convert --job samples/plate.toml --out build/demo
	@echo
	@echo "The report to look at:  $(CURDIR)/build/demo/report.html"
	@echo "The paper for the bench: $(CURDIR)/build/demo/bench-sheet.pdf"

test: $(VENV)/ready-dev lint browser
	$(BIN)/python -m pytest -n auto

lint: $(VENV)/ready-dev
	$(BIN)/ruff check .
	$(BIN)/mypy

# The report is tested in a real browser. Debian's is installed where that can be done without asking for a password;
# elsewhere the test says why it was skipped.
browser:
	@command -v chromium >/dev/null || command -v chromium-browser >/dev/null || command -v google-chrome >/dev/null \
	|| if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
		apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends chromium >/dev/null; \
	else false; fi || echo "no browser could be installed; the browser test will be skipped" >&2

bench: $(VENV)/ready-dev
	$(BIN)/python -m benchmarks

$(VENV)/bin/python:
	$(PYTHON) -m venv $(VENV)

$(VENV)/ready: pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --editable .
	@touch $@

$(VENV)/ready-dev: pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --editable '.[dev]'
	@touch $@ $(VENV)/ready

clean:
	rm -rf $(VENV) build
