# make demo: set up and run the main job on made weather, no network while it runs.
# make test: set up and pass every check.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed

# Tests start the command many times; compiled once, not at each start.
export PYTHONDONTWRITEBYTECODE :=

.PHONY: demo test check lint types bench soak clean

$(STAMP): pyproject.toml requirements.lock
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	touch $(STAMP)

demo: $(STAMP)
	$(BIN)/closein demo

test: $(STAMP) lint types
	OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest -n 2

lint: $(STAMP)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	PYTHONPATH=. $(BIN)/lint-imports --no-logo --no-cache

types: $(STAMP)
	$(BIN)/mypy

bench: $(STAMP)
	$(BIN)/python -m tests.benchmarks

soak: $(STAMP)
	CLOSEIN_SOAK=1 $(BIN)/python -m pytest -m soak

clean:
	rm -rf $(VENV) .mypy_cache .ruff_cache .hypothesis
