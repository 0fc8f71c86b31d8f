# make demo: set up and run the main job on made weather, no network while it runs.
# make test: set up and pass every check.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
LOWEST ?= .venv-lowest
# Store, pages, mail, grids, PDF, pictures, calendar, command line, solver: each library at its edge.
TOUCHING := tests/test_lowest.py tests/test_repeats.py tests/test_walls.py tests/store/test_store.py \
	tests/store/test_copies.py tests/jobfile/test_whole_job.py tests/output/test_calendar_feed.py \
	tests/output/test_risk_chart.py tests/weather/grids/test_decode.py tests/weather/test_house_json.py \
	tests/service/test_sending.py tests/service/test_due.py tests/web/test_log_page.py \
	tests/web/test_signing_in.py tests/planning/schedule/test_serial.py tests/rules/test_book.py
STAMP := $(VENV)/.installed

# Tests start the command many times; compiled once, not at each start.
export PYTHONDONTWRITEBYTECODE :=

.PHONY: demo test lowest check lint types bench soak clean

$(STAMP): pyproject.toml requirements.lock
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	touch $(STAMP)

demo: $(STAMP)
	$(BIN)/closein demo

test: $(STAMP) lint types
	OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest -n 2 --dist worksteal

lint: $(STAMP)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	PYTHONPATH=. $(BIN)/lint-imports --no-logo --no-cache

types: $(STAMP)
	$(BIN)/mypy

# The lowest library versions that pyproject.toml allows pass what touches each of them.
lowest:
	$(PYTHON) -m venv $(LOWEST)
	$(LOWEST)/bin/python -m pip install --quiet --disable-pip-version-check --no-deps -r requirements-lowest.lock
	$(LOWEST)/bin/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation .
	OPENBLAS_NUM_THREADS=1 $(LOWEST)/bin/python -m pytest -n 2 --dist worksteal $(TOUCHING)

bench: $(STAMP)
	$(BIN)/python -m tests.benchmarks

soak: $(STAMP)
	CLOSEIN_SOAK=1 $(BIN)/python -m pytest -m soak

clean:
	rm -rf $(VENV) $(LOWEST) .mypy_cache .ruff_cache .hypothesis
