# Everything a contributor runs. Each target sets up what it needs on a fresh clone.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PORT ?= 8710
FOR ?=

.PHONY: help setup demo test lint check fix bench mutate fuzz workbook soak lock clean

help: ## list the targets
	@grep -E '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 10

$(VENV)/.runtime: requirements.lock pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	@touch $@

$(VENV)/.dev: $(VENV)/.runtime requirements-dev.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-dev.lock
	@touch $@

setup: $(VENV)/.runtime ## make .venv from the lock file and put the program at .venv/bin/tundish

demo: $(VENV)/.runtime ## run the daemon on the simulated bench (PORT=8710, FOR=seconds to stop by itself)
	$(BIN)/tundish demo --port $(PORT) $(if $(FOR),--for $(FOR))

test: $(VENV)/.dev ## run the tests, in two processes a processor
	$(BIN)/python -m pytest --numprocesses auto --dist loadfile

lint: $(VENV)/.dev ## format, lint, types and import contract
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

check: lint test ## lint and test: what CI runs

fix: $(VENV)/.dev ## let the formatter and linter mend what they can
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

bench: $(VENV)/.dev ## measure speed; exit 1 below a bar
	$(BIN)/python -m tests.benchmarks

mutate: $(VENV)/.dev ## break each formula and list what no test notices
	$(BIN)/python -m tests.mutation

fuzz: $(VENV)/.dev ## ask the API whatever its description allows, for 15 minutes (FOR=seconds)
	$(BIN)/python -m tests.fuzz $(or $(FOR),900)

workbook: ## write demo/example.ods, which pulls sheets from the running demo (needs LibreOffice; PORT=8710)
	/usr/bin/python3 docs/example_workbook.py http://127.0.0.1:$(PORT) demo/example.ods

soak: $(VENV)/.dev ## the long fault runs
	$(BIN)/python -m pytest -m soak

lock: ## renew both lock files (needs uv)
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-annotate --no-header --no-emit-index-url --quiet \
		--extra sqlite --extra postgres --group build pyproject.toml -o requirements.lock
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-annotate --no-header --no-emit-index-url --quiet \
		--extra sqlite --extra postgres --group build --group dev pyproject.toml -o requirements-dev.lock

clean: ## remove what was generated
	rm -rf $(VENV) .mypy_cache .pytest_cache .ruff_cache .hypothesis .import_linter_cache demo dist
