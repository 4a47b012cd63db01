# The two commands a newcomer needs are `make run` and `make test`. They need Python 3.11 or newer and nothing else.
PYTHON ?= python3
DEMO ?= yes
ARGS ?=
BIN := .venv/bin
PIP := $(BIN)/python -m pip install -qq --disable-pip-version-check --require-hashes
PYTEST := $(BIN)/python -m pytest
# what `make test` leaves out by pyproject.toml is named here instead
ONLY := -o addopts="-q --strict-markers"
COMPILE := $(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header --no-emit-index-url --no-emit-find-links
SCRATCH := .venv/scratch

.PHONY: help run test check lint e2e external bench faults requirements format clean venv run-needs dev-needs external-needs
help:
	@echo "make run       start it (first time: installs, migrates, loads the demo; DEMO=no for a company of your own)"
	@echo "make test      the tests, no server needed"
	@echo "make check     lint, types, floors, migrations, tests"
	@echo "make e2e       the browser tests    make external  checks against the outside    make faults  kills things"
	@echo "make bench     the figures          make format    tidy the code    make requirements  pin again    make clean"

run: run-needs
	@$(BIN)/python manage.py start $(if $(filter no,$(DEMO)),--no-demo,--demo)

test: dev-needs
	@if command -v "$${CHROMIUM:-chromium}" >/dev/null; then echo "Browser tests are apart: make e2e"; else echo "Browser tests are skipped: no Chromium here (install the package chromium, then make e2e)."; fi
	@$(PYTEST) -n auto --maxprocesses 4 --dist loadfile --no-loadscope-reorder $(ARGS)

check: lint test

lint: dev-needs
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	VAR_DIR=$(SCRATCH) $(BIN)/python -W error manage.py makemigrations --check --dry-run
	VAR_DIR=$(SCRATCH) $(BIN)/python -W error manage.py check

e2e: dev-needs
	$(PYTEST) $(ONLY) tests/e2e -n auto --maxprocesses 2 --dist loadfile --no-loadscope-reorder $(ARGS)

external: external-needs
	$(PYTEST) $(ONLY) tests/external -n auto --maxprocesses 2 --dist loadfile --no-loadscope-reorder $(ARGS)

faults: dev-needs
	$(PYTEST) $(ONLY) tests/faults -n 3 --dist worksteal $(ARGS)

bench: dev-needs
	@$(BIN)/python -m tests.benchmarks $(ARGS)

format: dev-needs
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

requirements: dev-needs
	$(BIN)/python -m pip install -qq --disable-pip-version-check uv
	$(COMPILE) $(ARGS) requirements.in -o requirements.txt
	$(COMPILE) $(ARGS) -c requirements.txt requirements-dev.in -o requirements-dev.txt
	$(COMPILE) $(ARGS) -c requirements-dev.txt requirements-external.in -o requirements-external.txt

# the record in var/ is never touched by this
clean:
	rm -rf .venv .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
	find . -name __pycache__ -prune -exec rm -rf {} +

venv:
	@test -x $(BIN)/python || { \
	  $(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "Python 3.11 or newer is needed; $(PYTHON) is older or missing. Name another: make run PYTHON=python3.12"; exit 1; }; \
	  $(PYTHON) -c 'import ensurepip, venv' 2>/dev/null || { echo "Python's venv is missing. On Debian or Ubuntu install it with: apt-get install python3-venv"; exit 1; }; \
	  echo "Making .venv ..."; $(PYTHON) -m venv .venv; }

# a copy of what was installed last is the stamp: touching the file, or checking it out again, installs nothing
run-needs: venv
	@cmp -s requirements.txt .venv/requirements.txt || { echo "Installing what it needs ..."; $(PIP) -r requirements.txt && cp requirements.txt .venv/; }

dev-needs: run-needs
	@cmp -s requirements-dev.txt .venv/requirements-dev.txt || { echo "Installing what its tests need ..."; $(PIP) -r requirements-dev.txt && cp requirements-dev.txt .venv/; }

external-needs: dev-needs
	@cmp -s requirements-external.txt .venv/requirements-external.txt || { echo "Installing what the outside checks need ..."; $(PIP) -r requirements-external.txt && cp requirements-external.txt .venv/; }
