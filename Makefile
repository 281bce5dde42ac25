# Two commands do everything on a fresh machine: `make demo` and `make test`.
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
STAMP  := $(VENV)/.installed

.PHONY: env demo test long lint types clean

env: $(STAMP)

$(STAMP): requirements.lock requirements-checkers.lock pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --no-deps --require-hashes -r requirements-checkers.lock
	$(BIN)/python -m pip install --quiet --no-deps --no-build-isolation -e .
	$(BIN)/python -m compileall -q hazard screener  # where Python is told to keep no bytecode, every start compiles all
	touch $(STAMP)

demo: env
	$(BIN)/screener demo demo
	$(BIN)/screener run demo/tract.toml --allow-exceptions

test: env lint types
	$(BIN)/python -m pytest -n auto

long: env
	EXAMPLES=10 $(BIN)/python -m pytest -n auto -m "long or examples"

lint: env
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/lint-imports --no-cache

types: env
	$(BIN)/mypy

clean:
	rm -rf $(VENV) demo build dist
