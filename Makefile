# fleet-static: `make demo` shows the tool at work, `make test` is what CI runs.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check

.PHONY: demo test check lint types tests bench requirements clean

demo: $(VENV)/.run
	$(BIN)/fleet-static demo

test: check

check: lint types tests

lint: $(VENV)/.dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/sqlfluff lint --processes 2 --disable-progress-bar sql

types: $(VENV)/.dev
	$(BIN)/mypy

tests: $(VENV)/.dev
	$(BIN)/python -m pytest -n 2 --dist loadfile --no-loadscope-reorder tests

bench: $(VENV)/.dev
	$(BIN)/python -m tests.benchmarks

$(VENV)/.base:
	$(PYTHON) -c 'import sys; sys.exit(0 if sys.version_info >= (3, 11) else "fleet-static needs Python 3.11 or newer; try make PYTHON=python3.12")'
	$(PYTHON) -m venv $(VENV)
	touch $@

$(VENV)/.run: requirements.txt pyproject.toml | $(VENV)/.base
	@echo "installing the run environment into $(VENV) (a minute or two, once)"
	$(PIP) --require-hashes -r requirements.txt
	$(PIP) --no-deps --no-build-isolation -e .
	-$(BIN)/python -m pipeline.prefect_server  # an empty database, so that first runs need not migrate one
	-$(BIN)/python -m reports.kept  # the chart library's script
	touch $@

$(VENV)/.dev: requirements-dev.txt $(VENV)/.run
	@echo "installing the tools for tests into $(VENV)"
	$(PIP) --require-hashes -r requirements-dev.txt
	touch $@

requirements:
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --no-annotate -q \
	  --extra build pyproject.toml -o requirements.txt
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --no-annotate -q \
	  --extra build --extra cluster --extra dev -c requirements.txt pyproject.toml -o requirements-dev.txt

clean:
	rm -rf out build dist .pytest_cache .mypy_cache .ruff_cache
