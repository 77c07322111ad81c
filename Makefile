# Two commands matter: `make demo` and `make test`. Everything is installed into .venv from hashed lists.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
DIST := src/ownship/web/static/dist
export OMP_NUM_THREADS := 1
export OPENBLAS_NUM_THREADS := 1
PIP := $(BIN)/python -m pip --quiet --disable-pip-version-check

.PHONY: demo test lint types bench soak serve frontend words lock clean

demo: $(VENV)/.run
	@$(BIN)/ownship check demo

test: $(VENV)/.test $(DIST) .chromium
	$(BIN)/ruff check src tests bench docs soak
	$(BIN)/mypy
	$(BIN)/python hatch_build.py --types
	$(BIN)/python -m pytest -n 2

lint: $(VENV)/.test
	$(BIN)/ruff check src tests bench docs soak

types: $(VENV)/.test
	$(BIN)/mypy

bench: $(VENV)/.test
	$(BIN)/python -m bench

# What takes hours; its figures go to docs/figures.md.
soak: $(VENV)/.test
	$(BIN)/python -m soak owners --count 60
	$(BIN)/python -m soak remedies --count 50
	$(BIN)/python -m soak kill
	OWNSHIP_OPENAPI_CASES=20000 $(BIN)/python -m pytest tests/web/test_openapi.py

serve: $(DIST)
	$(BIN)/ownship serve

# The scripts, typefaces and coastlines of the pages; they work without.
frontend $(DIST): $(VENV)/.frontend $(wildcard src/ownship/web/frontend/*.*) hatch_build.py
	@$(BIN)/python hatch_build.py
	@touch $(DIST)

# Makes the virtual environment; on Debian the venv module may be a package of its own.
$(VENV)/.made:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "Ownship needs Python 3.11 or newer as $(PYTHON); install it, or say make PYTHON=python3.11." >&2; exit 1; }
	@$(PYTHON) -m venv $(VENV) >/dev/null 2>&1 || { rm -rf $(VENV); \
	  echo "Installing Debian's python3-venv first."; \
	  (apt-get -qq update && apt-get -qq install -y python3-venv) >/dev/null 2>&1 || \
	  (sudo -n apt-get -qq update && sudo -n apt-get -qq install -y python3-venv) >/dev/null 2>&1; \
	  $(PYTHON) -m venv $(VENV); } || \
	  { echo "Python's venv module is missing; install python3-venv and try again." >&2; exit 1; }
	@touch $@

$(VENV)/.run: $(VENV)/.made requirements.txt pyproject.toml
	@echo "Installing the locked dependencies into $(VENV) (once)."
	@$(PIP) install --require-hashes -r requirements.txt
	@$(PIP) install --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/.frontend: $(VENV)/.run requirements-frontend.txt
	@echo "Installing what builds the pages' scripts into $(VENV) (once)."
	@$(PIP) install --require-hashes -r requirements-frontend.txt
	@touch $@

$(VENV)/.test: $(VENV)/.run requirements-dev.txt
	@echo "Installing the test tools into $(VENV) (once)."
	@$(PIP) install --require-hashes -r requirements-dev.txt
	@touch $@

# Every string of every screen, paper and command, in build/words.txt.
words: $(VENV)/.run
	@$(BIN)/python docs/list_words.py

# Renews the hashed lists (needs uv on the PATH); no address of any registry is written.
lock:
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header -q pyproject.toml --extra build -o requirements.txt
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header -q pyproject.toml --extra build --extra frontend -c requirements.txt -o requirements-frontend.txt
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header -q pyproject.toml --extra build --extra frontend --extra dev -c requirements.txt -c requirements-frontend.txt -o requirements-dev.txt

# The browser of the tests: Debian's Chromium.
.PHONY: .chromium
.chromium:
	@command -v chromium >/dev/null || { echo "Installing Debian's chromium for the tests of the pages."; \
	  (apt-get -qq update && apt-get -qq install -y chromium) >/dev/null 2>&1 || \
	  (sudo -n apt-get -qq update && sudo -n apt-get -qq install -y chromium) >/dev/null 2>&1; }; \
	command -v chromium >/dev/null || { echo "The tests of the pages need Debian's chromium; install it (apt-get install chromium)." >&2; exit 1; }

clean:
	rm -rf $(VENV) .mypy_cache .ruff_cache .hypothesis build dist
