# Everything a person needs to know is in `make help`. Only Python 3.11 or newer, git and make are needed.
PYTHON ?= python3
BIN := .venv/bin
export PYTHONDONTWRITEBYTECODE :=

.PHONY: help demo run test soak check bench docs setup setup-test clean

help:  ## this list
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/^([a-z-]+):.*## (.*)/make \1\t\2/' | expand -t 16

demo: setup  ## set everything up, make the invented demo, serve it on localhost
	@$(BIN)/leadline demo --folder demo-data --port $(or $(PORT),8077)

test: setup-test  ## set everything up and pass all tests
	@$(BIN)/python -m pytest -n auto --dist loadfile $(ARGS)

check: setup-test  ## format, lint, types, import contract, drifted docs and sentences (seconds)
	@$(BIN)/ruff format --check --quiet . && $(BIN)/ruff check --quiet . && $(BIN)/mypy && $(BIN)/lint-imports --no-logo && $(BIN)/python tools/write_docs.py --check && $(BIN)/python tools/strings.py --check

soak: setup-test  ## the watch through ten bad minutes: broker, mail, disk and clock fail
	@LEADLINE_LONG=1 $(BIN)/python -m pytest -q tests/watch/test_soak.py $(ARGS)

bench: setup-test  ## print every figure beside its baseline (some minutes)
	@$(BIN)/python -m bench

docs: setup-test  ## write the pages, and the list of sentences, that are made from the code
	@$(BIN)/python tools/write_docs.py && $(BIN)/python tools/strings.py

setup:  ## only make .venv with what the program needs
	@$(PYTHON) tools/bootstrap.py run

setup-test:  ## only make .venv with what the tests need
	@$(PYTHON) tools/bootstrap.py test

clean:  ## remove .venv, caches, demo and artefacts
	rm -rf .venv demo-data artefacts .mypy_cache .ruff_cache .pytest_cache .hypothesis
