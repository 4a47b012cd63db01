# The two commands a newcomer needs are `make run` and `make test`.
PYTHON ?= python3
BIN := .venv/bin

.PHONY: help
help:
	@echo "make run       start it (first time: installs, migrates, loads the demo)"
	@echo "make test      the tests, no server needed"
	@echo "make check     lint, types, floors, migrations, tests"
	@echo "make e2e       the browser tests    make external  checks against the outside    make bench  the figures"
