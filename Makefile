# `make demo` and `make test` set everything up themselves; see README.md.
PYTHON ?= python3
BIN := .venv/bin
# Python keeps what it compiled, wherever it was told not to: without that every start compiles all libraries anew.
export PYTHONDONTWRITEBYTECODE :=

.PHONY: install demo test lint long reference screens clean

install: .venv/installed

.venv/installed: requirements.txt pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "proofpatch needs Python 3.11 or newer; name one with: make PYTHON=python3.12"; exit 1; }
	@$(PYTHON) -c 'import venv, ensurepip' 2>/dev/null || { \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then apt-get update -q && apt-get install -y -q python3-venv; \
	  else echo "Python's venv module is missing. Install it with: sudo apt-get install python3-venv"; exit 1; fi; }
	$(PYTHON) -m venv .venv
	@if $(BIN)/pip install -q uv; then $(BIN)/uv pip sync -q --python $(BIN)/python --require-hashes requirements.txt; \
	  else $(BIN)/pip install -q --require-hashes -r requirements.txt; fi
	$(BIN)/python -m pip install -q --no-build-isolation --no-deps --no-index -e .
	@touch .venv/installed

# The story in words, then the invented workshop in a browser. Without a terminal it closes when nobody looks any more.
demo: install
	$(BIN)/proofpatch demo
	@if [ -t 1 ]; then $(BIN)/proofpatch serve --invented --folder .cache/demo-shop; \
	  else $(BIN)/proofpatch serve --invented --folder .cache/demo-shop --until-idle "90 s"; fi

# The browser of the page tests, what makes it trust the shop's certificate, what draws a PDF as a printer would, and
# PostgreSQL's server for one test.
.venv/system: .venv/installed
	@wanted=; command -v chromium >/dev/null || command -v chromium-browser >/dev/null || wanted=chromium; \
	command -v certutil >/dev/null || wanted="$$wanted libnss3-tools"; \
	command -v pdftoppm >/dev/null || wanted="$$wanted poppler-utils"; \
	ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || command -v initdb >/dev/null || wanted="$$wanted postgresql"; \
	if [ -n "$$wanted" ]; then \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then apt-get update -q && DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends $$wanted; \
	  else echo "The tests need more. Install it with: sudo apt-get install $$wanted"; exit 1; fi; fi
	@touch .venv/system

# Kernels compile once, before the workers start.
# The many small shops stand in memory where there is room: on a disk each write to one is waited for.
test: install .venv/system
	$(BIN)/python -m proofpatch.learn.compiled
	@free=$$(df -Pk /dev/shm 2>/dev/null | awk 'END { print int($$4) }'); \
	if [ "$${free:-0}" -gt 2000000 ]; then place=$$(mktemp -d /dev/shm/proofpatch.XXXXXX) && trap 'rm -rf "$$place"' EXIT; fi; \
	PYTEST_DEBUG_TEMPROOT="$${place:-}" $(BIN)/python -m pytest -n 2 --dist worksteal -q

lint: install
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy

long: install
	$(BIN)/python benchmarks/agreement.py --write
	$(BIN)/python benchmarks/loop.py --write
	$(BIN)/python benchmarks/facts.py --ends
	$(BIN)/python benchmarks/patches.py --write
	$(BIN)/python benchmarks/cases.py --write
	$(BIN)/python benchmarks/posterior.py --write
	$(BIN)/python benchmarks/calibration.py --write
	$(BIN)/python benchmarks/offline.py --write
	$(BIN)/python benchmarks/killed.py --write
	$(BIN)/python benchmarks/upgraded.py --write
	$(BIN)/python benchmarks/load.py --write
	$(BIN)/python benchmarks/fuzz.py --write
	$(BIN)/python benchmarks/photos.py --write
	$(BIN)/python benchmarks/grading.py --write
	$(BIN)/python benchmarks/pairs.py --write
	$(BIN)/python benchmarks/photo_way.py --write
	$(BIN)/python benchmarks/memory_fit.py --write
	$(BIN)/python benchmarks/memory.py --write

# What docs/reference/ says, from the docstrings and the HTTP interface; a test fails while it is stale.
reference: install
	$(BIN)/python docs/reference_pages.py

# The pictures of the README and the tutorial, from the pages as they are.
screens: install .venv/system
	$(BIN)/python docs/screens.py

clean:
	rm -rf .venv .cache
