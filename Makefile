# Two commands matter: `make demo` and `make test`. Each sets up what it needs first.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
UV := $(BIN)/uv
UV_VERSION := 0.13.8
# Never let the tool fetch a Python of its own, and never follow a machine's personal settings.
export UV_PYTHON_DOWNLOADS := never
export UV_PROJECT_ENVIRONMENT := $(CURDIR)/$(VENV)
export UV_LINK_MODE := copy
# Hospital networks often have certificates of their own.
export UV_SYSTEM_CERTS := true

.PHONY: help demo test lint types contracts licences unit docs bench lock clean system

help:
	@echo "make demo       set up, then do the whole main job on the invented scenario"
	@echo "make test       set up, then every check: style, types, layers, licences, tests"
	@echo "make docs       build the documentation into site/"
	@echo "make bench      measure speed and accuracy side by side with the named peers"
	@echo "make lock       resolve the dependencies anew into uv.lock"
	@echo "make clean      remove everything that was built or set up here"

$(UV):
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "Thalweg needs Python 3.11 or newer; $(PYTHON) is older: make PYTHON=python3.12 …" >&2; exit 1; }
	@$(PYTHON) -m venv $(VENV) || \
	  { echo "this Python cannot make a virtual environment: install its venv package (Debian: python3-venv)" >&2; exit 1; }
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check uv==$(UV_VERSION)

$(VENV)/.runtime: pyproject.toml uv.lock | $(UV)
	@echo "Setting up Thalweg …"
	@$(UV) sync --quiet --frozen --inexact --no-default-groups
	@touch $@

$(VENV)/.development: pyproject.toml uv.lock | $(UV)
	@echo "Setting up Thalweg and its tests …"
	@$(UV) sync --quiet --frozen --inexact --all-groups
	@touch $@ $(VENV)/.runtime

demo: $(VENV)/.runtime
	@$(BIN)/thalweg demo --out demo-out

test: system lint types contracts licences unit

system:
	@sh tools/system_packages.sh

lint: $(VENV)/.development
	$(BIN)/ruff format --check src tests benchmarks tools
	$(BIN)/ruff check src tests benchmarks tools

types: $(VENV)/.development
	$(BIN)/mypy

contracts: $(VENV)/.development
	$(BIN)/lint-imports

licences: $(VENV)/.development
	$(BIN)/python tools/check_licences.py

unit: $(VENV)/.development
	$(BIN)/python -m pytest -n 2 -q

docs: $(VENV)/.development
	$(BIN)/python tools/write_reference.py docs/reference
	$(BIN)/zensical build --clean

bench: $(VENV)/.development
	$(BIN)/python -m benchmarks

lock: | $(UV)
	$(UV) lock --upgrade

clean:
	rm -rf $(VENV) site demo-out docs/reference .mypy_cache .ruff_cache .pytest_cache .import_linter_cache .hypothesis
