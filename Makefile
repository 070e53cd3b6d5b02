# Bracewatch. `make` alone lists what there is; every target sets up what it needs.
PYTHON ?= python3
BIN := .venv/bin
PORT ?= 8321

.DEFAULT_GOAL := help
.PHONY: help demo test lint unit pictures lock clean

help:  ## list the targets
	@grep -E '^[a-z]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 12

demo: .venv/ready  ## set up, then serve the practice clinic on this machine (PORT=8321)
	$(BIN)/bracewatch demo --port $(PORT)

test: .venv/ready-dev  ## set up, then run every check: style, types, rooms, tests (real browser, both databases)
	@$(MAKE) --no-print-directory lint unit

lint: .venv/ready-dev  ## style, types and the walls between rooms
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

unit: .venv/ready-dev  ## the tests alone; pass ARGS="-k words" to choose
	@tools/debian.sh chromium libatomic1 postgresql
	$(BIN)/pytest $(ARGS)

pictures: .venv/ready-dev  ## take README's pictures, and every page at 320 and 1280 px, from the demo
	@tools/debian.sh chromium libatomic1 fonts-noto-core
	$(BIN)/python tools/pictures.py

lock: .venv/ready-dev  ## work the pinned versions out again
	$(BIN)/pip install --quiet uv
	$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --no-annotate --extra postgres --extra build pyproject.toml -o requirements.lock --upgrade
	$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --no-annotate --extra postgres --extra build --extra dev -c requirements.lock pyproject.toml -o requirements-dev.lock --upgrade

clean:  ## remove the environment and the practice clinic's file
	rm -rf .venv practice.sqlite3*

.venv/bin/pip:
	@tools/debian.sh python3-venv
	$(PYTHON) -m venv .venv

.venv/ready: .venv/bin/pip requirements.lock pyproject.toml
	$(BIN)/pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

.venv/ready-dev: .venv/ready requirements-dev.lock
	$(BIN)/pip install --quiet --disable-pip-version-check --require-hashes -r requirements-dev.lock
	@touch $@
