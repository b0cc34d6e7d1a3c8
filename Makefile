# Two commands do everything on a machine with Python 3.11 and make:
#   make run    the dashboard over a demo book, on 127.0.0.1
#   make test   every test, in a real browser too
PYTHON ?= python3.11
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.ready
BOOK ?= book
SCALE ?= small
PORT ?= 8501
# Small matrices, and a test process a core already: more threads only wait for each other.
export OPENBLAS_NUM_THREADS := 1
CHROMIUM ?= $(shell command -v chromium || command -v chromium-browser || command -v google-chrome)

.PHONY: setup setup-spark run test quick check bench soak long fuzz audit lock browser clean

setup: $(STAMP)

$(STAMP): requirements.lock pyproject.toml
	@command -v $(PYTHON) >/dev/null || { echo "Lockring needs Python 3.11 ($(PYTHON) not found; set PYTHON=...)" >&2; exit 1; }
	test -d $(VENV) || $(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --require-hashes --only-binary :all: -r requirements.lock
	$(BIN)/pip install --quiet --no-deps --no-build-isolation -e .
	$(BIN)/python -m compileall -q ledger dashboard demo_events
	touch $(STAMP)

# The optional extra [spark]; pyspark is published as source only, and needs Java 17 to run.
setup-spark: $(STAMP)
	$(BIN)/pip install --quiet --require-hashes --only-binary :all: --no-binary pyspark --no-build-isolation -r requirements-spark.lock

run: $(STAMP)
	test -e $(BOOK)/book.toml || $(BIN)/lockring demo --book $(BOOK)
	$(BIN)/lockring dashboard --book $(BOOK) --port $(PORT)

browser:
	@.ci/browser

test: $(STAMP) browser
	$(BIN)/pytest -n 2 --dist loadgroup tests

quick: $(STAMP)
	$(BIN)/pytest -n 2 --dist loadgroup -m "not slow and not browser" tests

check: $(STAMP)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python -m ledger.sql.lint

# SCALE=tiny, small, 10m or 100m; SCALES=small,10m for several side by side. BOOK_AT=FOLDER takes
# a book that was written before (with SCALES: BOOK_AT="10m=FOLDER 100m=FOLDER").
bench: $(STAMP)
	$(BIN)/python -m tests.benchmarks --scale $(SCALE) $(if $(SCALES),--scales $(SCALES)) $(foreach at,$(BOOK_AT),--book-at $(at))

# Random histories of a book on a simulated disk: SOAK of them, from seed SEED on.
SOAK ?= 20000
SEED ?= 100000
soak: $(STAMP)
	$(BIN)/python -m tests.storage.histories --count $(SOAK) --first $(SEED)

# All tests, those that draw workshops, books or runs of commands with several times as many.
long: $(STAMP) browser
	LOCKRING_LONG=1 $(BIN)/pytest -n 2 --dist loadgroup tests

FUZZ_SECONDS ?= 60
fuzz: $(STAMP)
	for name in $$($(BIN)/python -c "from tests.hostile.guided import TARGETS; print(*TARGETS)"); do \
	  folder=$$(mktemp -d) && echo "$$name" && \
	  $(BIN)/python -m tests.hostile.guided $$name $$folder -max_total_time=$(FUZZ_SECONDS) -len_control=0 -max_len=9000 \
	    > $$folder/told 2>&1 || { tail -n 40 $$folder/told; exit 1; }; \
	  tail -n 1 $$folder/told; rm -rf $$folder; \
	done

# Holds what is locked against the known faults; needs the network.
audit: $(STAMP)
	$(BIN)/python -m tests.supply.audit

lock:
	$(PYTHON) -m venv .lock-venv
	.lock-venv/bin/pip install --quiet pip-tools
	for name in requirements requirements-spark; do \
	  .lock-venv/bin/pip-compile --quiet --upgrade --generate-hashes --allow-unsafe --strip-extras --no-emit-options --no-header --no-emit-index-url --no-emit-find-links --no-emit-trusted-host --no-annotate -o $$name.lock $$name.in || exit 1; \
	done
	rm -rf .lock-venv

clean:
	rm -rf $(VENV) .lock-venv .pytest_cache .mypy_cache .ruff_cache .hypothesis
