# The two commands: `make demo` and `make test`. Everything else is for those who work on Samestone.
SHELL := /bin/bash
.DELETE_ON_ERROR:
.SUFFIXES:

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
DATA ?=
SERVE ?= 1
DATA_OPTION = $(if $(DATA),--data "$(DATA)")

.PHONY: help setup demo serve test lint bench pictures lock clean

help:
	@echo "make demo      set up, play one job from take-in to pick-up, open the counter (SERVE=0: do not)"
	@echo "make test      set up what the tests need and run them all"
	@echo "make setup     set up .venv/bin/samestone only"
	@echo "make serve     the counter, in your own data folder"
	@echo "make lint      style, types, architecture"
	@echo "make bench     measure accuracy and speed; writes benchmarks/results and the plots of docs/method"
	@echo "make pictures  render the simulated picture sets again (needs hours without a GPU)"
	@echo "make lock      resolve requirements/*.in again into hash-locked requirements/*.txt"

setup: $(VENV)/.base

demo: setup
	$(BIN)/samestone demo $(DATA_OPTION) $(if $(filter-out 0 no false,$(SERVE)),--serve)

serve: setup
	$(BIN)/samestone serve $(DATA_OPTION)

test: $(VENV)/.test
	@scripts/test-needs
	$(BIN)/python -m pytest $(PYTEST)

lint: $(VENV)/.test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/lint-imports --no-cache
	$(BIN)/mypy

bench: $(VENV)/.test
	$(BIN)/python -m benchmarks

pictures: $(VENV)/.pictures
	$(BIN)/python -m scripts.render_pictures

$(VENV)/.base: requirements/base.txt pyproject.toml
	scripts/set-up $(PYTHON) $(VENV) requirements/base.txt
	@touch $@

$(VENV)/.test: requirements/test.txt $(VENV)/.base
	scripts/set-up $(PYTHON) $(VENV) requirements/test.txt
	@touch $@

$(VENV)/.pictures: requirements/pictures.txt $(VENV)/.base
	scripts/set-up $(PYTHON) $(VENV) requirements/pictures.txt
	@touch $@

lock:
	@for set in base test pictures; do \
	  uv pip compile --universal --python-version 3.11 --generate-hashes --no-header \
	    requirements/$$set.in -o requirements/$$set.txt -q $(LOCK) || exit 1; done

clean:
	rm -rf $(VENV) .mypy_cache .ruff_cache .pytest_cache
