# Two commands matter: `make demo` and `make test`. Everything is installed into .venv from hashed lists.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
export OMP_NUM_THREADS := 1
export OPENBLAS_NUM_THREADS := 1
PIP := $(BIN)/python -m pip --quiet --disable-pip-version-check

.PHONY: demo test lint types bench soak serve lock clean

demo: $(VENV)/.run
	@$(BIN)/ownship check demo

test: $(VENV)/.test
	$(BIN)/ruff check src tests bench docs soak
	$(BIN)/mypy
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

serve: $(VENV)/.run
	$(BIN)/ownship serve

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

$(VENV)/.test: $(VENV)/.run requirements-dev.txt
	@echo "Installing the test tools into $(VENV) (once)."
	@$(PIP) install --require-hashes -r requirements-dev.txt
	@touch $@

# Renews the hashed lists (needs uv on the PATH); no address of any registry is written.
lock:
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header -q pyproject.toml --extra build -o requirements.txt
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header -q pyproject.toml --extra build --extra frontend -c requirements.txt -o requirements-frontend.txt
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header -q pyproject.toml --extra build --extra frontend --extra dev -c requirements.txt -c requirements-frontend.txt -o requirements-dev.txt

clean:
	rm -rf $(VENV) .mypy_cache .ruff_cache .hypothesis build dist
