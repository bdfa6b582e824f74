# Two commands are all a fresh machine needs: `make run` and `make test`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PORT ?= 8050
READY := $(VENV)/.ready
DEV := $(VENV)/.dev

.PHONY: run test test-long test-whole check spark bench torture fuzz demo catalogue screenshots lock sbom licences audit clean

# `make run` and `make test` may begin at the same moment: one of them puts the packages in, the other waits for it.
ALONE := $(shell command -v flock >/dev/null 2>&1 && echo flock build/packages.lock)

$(READY): requirements.lock pyproject.toml
	mkdir -p build
	$(ALONE) $(MAKE) --no-print-directory $(VENV)/.packages
	touch $@

$(VENV)/.packages: requirements.lock pyproject.toml
	$(PYTHON) -c 'import sys; sys.exit(0 if sys.version_info >= (3, 11) else "Evenfoot needs Python 3.11 or newer; this is " + sys.version.split()[0] + ". Try: make PYTHON=python3.12 run")'
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	touch $@

# What tests and checks need besides.
$(DEV): requirements-dev.lock $(READY)
	$(ALONE) $(MAKE) --no-print-directory $(VENV)/.tools
	touch $@

$(VENV)/.tools: requirements-dev.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-dev.lock
	touch $@

run: $(READY)
	$(BIN)/evenfoot demo --ledger build/demo.duckdb --port $(PORT)

PYTEST := $(BIN)/python -m pytest -q -n 2 --dist loadfile --no-loadscope-reorder

test: $(DEV)
	$(PYTEST) -m "not long"

# What takes long: the other engines, kills and power cuts, every page in the browser.
test-long: $(DEV)
	$(PYTEST) -m long

# All tests, each with all that it tries, which takes more than an hour.
test-whole: $(DEV)
	EVENFOOT_WHOLE_TESTS=1 $(PYTEST)

# Spark and Java's side of it are large, so they are apart: only who keeps a registry needs them, and the tests of it.
spark: $(DEV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-spark.lock

check: $(DEV)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: $(DEV)
	$(BIN)/python -m tests.scale

torture: $(DEV)
	$(BIN)/python -m tests.torture.killed
	$(BIN)/python -m tests.torture.power_cut
	$(BIN)/python -m tests.torture.torn
	$(BIN)/python -m tests.torture.full_disk
	$(BIN)/python -m tests.torture.failing_calls
	$(BIN)/python -m tests.torture.paused
	$(BIN)/python -m tests.torture.two_writers
	$(BIN)/python -m tests.torture.restores
	$(BIN)/python -m tests.torture.places
	$(BIN)/python -m tests.torture.any_bytes
	$(BIN)/python -m tests.torture.options
	$(BIN)/python -m tests.torture.options --all
	$(BIN)/python -m tests.torture.on_server
	$(BIN)/python -m tests.torture.soak --minutes 30

# The fuzzer is for Linux and macOS and nobody else needs it, so it has an environment of its own.
fuzz: requirements-dev.lock requirements-fuzz.lock
	test -x build/fuzz-venv/bin/python || $(PYTHON) -m venv build/fuzz-venv
	build/fuzz-venv/bin/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-dev.lock
	build/fuzz-venv/bin/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-fuzz.lock
	build/fuzz-venv/bin/python -m tests.torture.guided

screenshots: $(DEV)
	$(BIN)/python -m tests.browser.screenshots

demo: $(DEV)
	$(BIN)/python -m evenfoot.sample_data.generate

catalogue: $(DEV)
	$(BIN)/python -m evenfoot.dashboard.cli.extraction

lock: $(DEV)
	$(BIN)/uv pip compile pyproject.toml --extra build --extra postgres --extra oidc --extra other-databases --extra dev --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header -q -o requirements-dev.lock
	$(BIN)/uv pip compile pyproject.toml --extra build --extra postgres --extra oidc --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header -q -c requirements-dev.lock -o requirements.lock
	printf 'deltalake>=1.6\npyspark>=4.3\n' | $(BIN)/uv pip compile - --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header -q -o requirements-spark.lock
	echo 'atheris==3.0.0' | $(BIN)/uv pip compile - --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header -q -o requirements-fuzz.lock

sbom: $(DEV)
	$(BIN)/python -m tests.supply.sbom build/sbom.json

licences: $(DEV)
	$(BIN)/python -m tests.supply.licences

# Asks a public database of known faults about every package in the lock, so it needs the internet.
audit: $(DEV)
	$(BIN)/pip-audit --requirement requirements-dev.lock --require-hashes --no-deps --disable-pip

clean:
	rm -rf $(VENV) build
