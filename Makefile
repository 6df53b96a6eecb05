# What a newcomer runs. Without make, or on Windows, README.md gives the same as plain pip lines.

PYTHON ?= $(shell command -v python3.11 || command -v python3)
VENV := .venv
PY := $(VENV)/bin/python
PIP := $(PY) -m pip --disable-pip-version-check install --quiet

# packages, browser and data are fetched side by side
MAKEFLAGS += --jobs=2

.PHONY: demo test check bench sample lock clean chromium data

# the main job on the sample town
demo: $(VENV)/.core
	@$(VENV)/bin/harvest run data/sample/pellwick.toml

# every test; installs what they need and skips nothing. Compiled modules are kept: tests start many programs
test: export PYTHONDONTWRITEBYTECODE =
test: $(VENV)/.test chromium data
	$(PY) -m pytest -q -n auto --dist loadfile

# style and types
check: $(VENV)/.test
	$(VENV)/bin/ruff check .
	$(VENV)/bin/ruff format --check .
	$(VENV)/bin/mypy

# speed and memory, as ratios within one run
bench: $(VENV)/.test
	$(PY) tests/bench.py

# make the sample town anew
sample: $(VENV)/.core
	$(PY) data/sample/make_town.py

$(VENV)/bin/python:
	$(PYTHON) -m venv $(VENV)

$(VENV)/.core: requirements.lock pyproject.toml | $(VENV)/bin/python
	$(PIP) --require-hashes -r requirements.lock
	$(PIP) --no-deps --editable .
	@touch $@

# it holds all that .core does. Not compiled beforehand: half of the time would go into modules that no test loads
$(VENV)/.test: tests/requirements.lock tests/requirements-data.lock pyproject.toml | $(VENV)/bin/python
	$(PIP) --no-compile --require-hashes -r tests/requirements.lock
	$(PIP) --no-compile --require-hashes --no-deps -r tests/requirements-data.lock
	$(PIP) --no-deps --editable .
	@touch $(VENV)/.core $@

chromium:
	@if command -v chromium >/dev/null; then :; \
	elif [ "$$(id -u)" = 0 ]; then apt-get update -qq && apt-get install -y -qq chromium >/dev/null; \
	else echo "The browser tests need Chromium. Install it: sudo apt-get install chromium" >&2; exit 1; fi

data: | $(VENV)/bin/python chromium
	$(PY) tests/fetch_data.py
	$(PY) tests/fetch_monaco.py

# resolve the locks anew; needs uv
lock:
	uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url \
	  --custom-compile-command "make lock" --extra brief \
	  pyproject.toml -o requirements.lock
	uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url \
	  --custom-compile-command "make lock" --extra brief --extra test --extra dev -c requirements.lock \
	  pyproject.toml -o tests/requirements.lock
	uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-deps \
	  --custom-compile-command "make lock" tests/requirements-data.in -o tests/requirements-data.lock

clean:
	rm -rf $(VENV) build *.egg-info tests/.data
