# Everything from a fresh checkout: needs Python 3.11 or later, make, and a network for the first installation.
PYTHON ?= $(shell command -v python3.11 || command -v python3)
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready
BENCH_READY := $(VENV)/.ready-bench
PIP := $(BIN)/python -m pip --disable-pip-version-check

.PHONY: run test system lint bench calibrate warm lock audit clean

# The shop, filled with an invented one to look at; its records are in out/ and are kept from run to run.
run: warm
	mkdir -p out
	$(BIN)/loopwright serve --demo --database out/demo.sqlite

test: $(READY) system lint
	$(BIN)/python -m pytest -n 2 --dist loadfile

# The store is tested on both databases where PostgreSQL's server can be had, the pages in a browser where Chromium can;
# without them those tests say so and are passed over.
system:
	@if ls /usr/lib/postgresql/*/bin/postgres >/dev/null 2>&1; then :; \
	elif [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
		apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq postgresql >/dev/null \
		|| echo "PostgreSQL could not be installed; the store is tested on SQLite alone."; \
	else echo "PostgreSQL's server is not installed; the store is tested on SQLite alone."; fi
	@if command -v chromium >/dev/null || command -v chromium-browser >/dev/null; then :; \
	elif [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
		apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq chromium >/dev/null \
		|| echo "Chromium could not be installed; the pages are not tried in a browser."; \
	else echo "Chromium is not installed; the pages are not tried in a browser."; fi

lint: $(READY)
	$(BIN)/ruff check
	$(BIN)/ruff format --check
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: $(BENCH_READY) warm
	$(BIN)/python -m bench

calibrate: $(BENCH_READY) warm
	$(BIN)/python -m bench.calibrate

# Compiled code is cached here once, so that no user waits for the compiler.
warm: $(READY)
	$(BIN)/python -m loopwright.api.warm

$(BIN)/python:
	$(PYTHON) -m venv $(VENV)

$(READY): $(BIN)/python requirements.lock pyproject.toml
	$(PIP) install --quiet --require-hashes -r requirements.lock
	$(PIP) install --quiet --no-deps --no-build-isolation --editable .
	touch $@

$(BENCH_READY): requirements-bench.lock $(READY)
	$(PIP) install --quiet --require-hashes -r requirements-bench.lock
	touch $@

# Writes the pinned requirements anew, for Linux, macOS and Windows; needs `pip install uv` in an environment of its own.
UV ?= uv
LOCK := $(UV) pip compile - pyproject.toml --universal --python-version 3.11 --generate-hashes \
	--no-emit-index-url --no-annotate --no-header --quiet --upgrade
lock:
	printf 'hatchling\neditables\n' | $(LOCK) --extra test --output-file requirements.lock
	printf 'hatchling\neditables\n' | $(LOCK) --extra test --extra bench --output-file requirements-bench.lock

# Known vulnerabilities of the pinned packages, asked of PyPI. Strict, because otherwise a package that gets no answer is
# passed over and an audit of nothing ends as "No known vulnerabilities found".
audit: $(BIN)/python
	@test -x $(BIN)/pip-audit || $(PIP) install --quiet pip-audit
	@said=$$($(BIN)/pip-audit --strict --progress-spinner off --require-hashes --disable-pip -r requirements.lock 2>&1) \
	&& echo "$$said" || { echo "$$said" | tail -n 40; case "$$said" in \
	*"Found "*" known vulnerabilit"*) ;; \
	*) echo "NOT AUDITED: the vulnerability data could not be reached for every package. See docs/results/dependency_audit.md." ;; \
	esac; exit 1; }

clean:
	rm -rf $(VENV) out
