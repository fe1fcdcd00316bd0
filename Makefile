# All set-up is done by the target that needs it. Paths are relative, so the
# folder may have any name.

PYTHON ?= python3
BIND ?= 127.0.0.1:8000
VENV := .venv
IN_VENV := $(VENV)/bin/python

.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
.PHONY: help serve test test-long bench lint format openapi lint-docker install check-machine clean

help:
	@echo 'make serve        set up, then serve on $(BIND)  (make serve BIND=127.0.0.1:9000)'
	@echo 'make test         set up, then lint, check types and run every test'
	@echo 'make test-long    run the tests that take long: requests made up, and processes that die'
	@echo 'make bench        measure speed, as ratios, and write the tables of bench/README.md'
	@echo 'make lint         ruff, mypy and the direction of imports'
	@echo 'make format       let ruff format the code and sort its imports'
	@echo 'make openapi      write openapi/openapi.json anew'
	@echo 'make lint-docker  lint the Dockerfile and the compose file'
	@echo 'make clean        remove the virtual environment and all caches'

serve: $(VENV)/installed
	$(IN_VENV) -m gunicorn --config python:piecewright.service.http.gunicorn_config --bind $(BIND)

test: lint
	$(IN_VENV) -m pytest -n 2 -m "not long" --ignore=tests/fuzz

test-long: $(VENV)/installed-dev
	$(IN_VENV) -m pytest -n 2 -m long

lint: $(VENV)/installed-dev
	$(IN_VENV) -m ruff check .
	$(IN_VENV) -m ruff format --check .
	$(IN_VENV) -m mypy
	$(IN_VENV) -c 'from importlinter.cli import lint_imports_command; lint_imports_command()' --no-logo

format: $(VENV)/installed-dev
	$(IN_VENV) -m ruff check --fix .
	$(IN_VENV) -m ruff format .

bench: $(VENV)/installed-dev
	$(IN_VENV) -m bench

openapi: $(VENV)/installed
	$(IN_VENV) -m piecewright.service.http.openapi.document > openapi/openapi.json

lint-docker: $(VENV)/installed-docker
	$(VENV)/bin/hadolint docker/Dockerfile
	$(IN_VENV) -m compose_lint docker/compose.yaml

install: $(VENV)/installed

check-machine:
	@command -v $(PYTHON) >/dev/null || { echo 'Piecewright needs Python 3.11 or later: sudo apt-get install python3 python3-venv' >&2; exit 1; }
	@$(PYTHON) tools/check_machine.py

# A change of what is to be installed makes the environment anew, so that
# nothing of the old one stays in it.
$(VENV)/installed: pyproject.toml constraints.txt | check-machine
	$(PYTHON) -m venv --clear $(VENV)
	$(IN_VENV) -m pip install --quiet --constraint constraints.txt --editable .
	$(IN_VENV) -c 'import cairocffi'
	@touch $@

$(VENV)/installed-dev: $(VENV)/installed
	$(IN_VENV) -m pip install --quiet --constraint constraints.txt --editable '.[cluster,dev]'
	@touch $@

$(VENV)/installed-docker: $(VENV)/installed
	$(IN_VENV) -m pip install --quiet --constraint constraints.txt --editable '.[docker]'
	@touch $@

clean:
	rm -rf $(VENV) .hypothesis .import_linter_cache .mypy_cache .pytest_cache .ruff_cache build *.egg-info
	find bench patchwork piecewright render service tests tools -name __pycache__ -type d -prune -exec rm -rf {} +
