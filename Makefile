# Every target does its own set-up: a bare Debian machine with Python 3.11 needs `make` and nothing else.
SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DELETE_ON_ERROR:
.DEFAULT_GOAL := help

PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
PIP    := $(BIN)/python -m pip --disable-pip-version-check --quiet install
ARGS   ?=
# Processes that pytest shares the tests out to. The times in the tests' own deadlines suppose two cores; the slow ones
# are stories that mostly wait.
JOBS   ?= 2
SLOW_JOBS ?= 6
# Where Python may not keep what it compiled, each start of the daemon and the terminal compiles it all: half a second.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: help demo test check lint quick bench campaign fuzz kills coverage mutants lock clean test-programs

help:
	@echo 'make demo    the demo hall on 127.0.0.1:8420; options: make demo ARGS="--http 127.0.0.1:18420"'
	@echo 'make ui      build the web page anew; `make demo` and `make test` do it when its sources changed'
	@echo 'make test    every test, on simulators; about 10 minutes on two cores'
	@echo 'make check   format, lint, types, arrows and the quick tests; under 1 minute'
	@echo 'make bench   the table of ratios beside bare floors'
	@echo 'make fuzz RUNS=200000    every parser, damaged journals, bad frames, generated requests; some of them: TARGET="journal api"'
	@echo 'make campaign SEEDS=5000   the whole daemon in the simulated studio, under faults; planted bugs: ARGS=museum'
	@echo 'make kills N=200   SIGKILL the real daemon at random while 24 simulated decks roll'
	@echo 'make coverage  every test again, and which branches they take; fails below the bounds of docs/numbers.md'
	@echo 'make mutants   changes the safety core in 60 places and counts which the tests notice; other lines: ARGS="--since HEAD~20"'
	@echo 'make lock    pin the requirements; to take newer ones: make lock ARGS=--upgrade'
	@echo 'make clean   take away what make and the tests made'

# --- set-up -----------------------------------------------------------------------------------------------------------

# Debian keeps ensurepip in a package of its own; as root we fetch it, else we name it.
$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' \
	    || { echo 'stagectl needs Python 3.11 or newer. Install one, then: make PYTHON=python3.11 ...' >&2; exit 2; }
	@$(PYTHON) -c 'import ensurepip' 2>/dev/null || $(MAKE) --no-print-directory apt-install PACKAGES=python3-venv
	$(PYTHON) -m venv $(VENV)

# The stamps carry the lock's own time, so that a second call costs nothing. The editable install is built with the
# pinned hatchling of the lock: nothing unpinned is fetched.
$(VENV)/.installed: requirements.lock pyproject.toml | $(BIN)/python
	$(PIP) --require-hashes -r requirements.lock -r requirements-build.lock
	$(PIP) --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/.installed-dev: requirements-dev.lock pyproject.toml | $(BIN)/python
	$(PIP) --require-hashes -r requirements-dev.lock
	$(PIP) --no-deps --no-build-isolation -e .
	@touch $@ $(VENV)/.installed

# The standard's own tool for media hash lists wants other versions than we do: it has a venv of its own, beside ours.
ORACLE := .venv-oracle

$(ORACLE)/.installed: requirements-oracle.lock | $(BIN)/python
	$(PYTHON) -m venv $(ORACLE)
	$(ORACLE)/bin/python -m pip --disable-pip-version-check --quiet install --require-hashes -r requirements-oracle.lock
	@touch $@

# The MQTT tests have Debian's broker and its two clients as the other side, those of copying off its SSH and
# FTP servers, their bench xxhsum; strace makes a sync fail, and libfaketime moves the wall clock of one process.
test-programs:
	@export PATH="$$PATH:/usr/sbin"; missing=; \
	command -v strace >/dev/null || missing="$$missing strace"; \
	ls /usr/lib/*/faketime/libfaketime.so.1 >/dev/null 2>&1 || missing="$$missing libfaketime"; \
	command -v mosquitto >/dev/null || missing="$$missing mosquitto"; \
	command -v mosquitto_pub >/dev/null || missing="$$missing mosquitto-clients"; \
	command -v chromium >/dev/null || missing="$$missing chromium"; \
	command -v vsftpd >/dev/null || missing="$$missing vsftpd"; \
	command -v xxhsum >/dev/null || missing="$$missing xxhash"; \
	command -v sshd >/dev/null || missing="$$missing openssh-server"; \
	if [ -n "$$missing" ]; then $(MAKE) --no-print-directory apt-install PACKAGES="$$missing"; fi

.PHONY: apt-install
apt-install:
	@if [ "$$(id -u)" != 0 ] || ! command -v apt-get >/dev/null; then \
	    echo "This target needs: $(PACKAGES). Install them, on Debian: apt-get install $(PACKAGES)" >&2; exit 2; fi
	@echo "Installing $(PACKAGES) with apt-get."
	@export DEBIAN_FRONTEND=noninteractive; \
	apt-get install -y -qq --no-install-recommends $(PACKAGES) >/dev/null 2>&1 \
	    || { apt-get update -qq && apt-get install -y -qq --no-install-recommends $(PACKAGES) >/dev/null; }

# --- what people call -------------------------------------------------------------------------------------------------

# The page is built by the Node of this machine if it is young enough, else by the one of a package that comes by hash.
# Without it the daemon serves a plain page, so a demo goes on when the build fails.
PAGE  := stagectl/desk/web/files.json
PARTS := $(shell find stagectl/desk/src -type f) $(addprefix stagectl/desk/,package.json package-lock.json tsconfig.json vite.config.ts)

$(PAGE): $(PARTS) hatch_build.py requirements-ui.lock | $(BIN)/python
	@$(BIN)/python hatch_build.py --have-node || $(PIP) --require-hashes -r requirements-ui.lock
	@echo 'Building the page.'
	@$(BIN)/python hatch_build.py

ui: $(PAGE)

demo: $(VENV)/.installed
	@$(MAKE) --no-print-directory $(PAGE) || echo 'The page is not built; the demo shows a plain one.' >&2
	@exec $(BIN)/stagectl demo $(ARGS)

# The page's tests run by themselves: a browser keeps a loop of its own in the thread of its tests. What fails is tried
# once more with nothing beside it: a story on real time may be late where four share two cores. 5: ARGS chose none there.
test: $(VENV)/.installed-dev $(ORACLE)/.installed test-programs $(PAGE)
	@export PATH="$$PATH:/usr/sbin"; status=0; \
	run() { echo "+ pytest $$*"; $(BIN)/python -m pytest "$$@" $(ARGS); }; \
	again() { echo "+ what failed, once more and alone; what passes now is to be looked at all the same"; \
	    run "$$@" -n 0 --last-failed --last-failed-no-failures none || status=1; }; \
	part() { code=0; run "$$@" || code=$$?; case $$code in 0|5) ;; 1) again "$$@" ;; *) status=1 ;; esac; }; \
	part -n $(JOBS) -m "not slow" --ignore=tests/desk; \
	part -n $(SLOW_JOBS) -m slow --ignore=tests/desk; \
	part -n $(JOBS) --dist loadfile tests/desk; \
	exit $$status

check: lint quick

# The five static checks; each one runs although an earlier one complained.
lint: $(VENV)/.installed-dev
	@status=0; \
	for step in "ruff format --check ." "ruff check ." "mypy" "lint-imports"; do \
	    echo "+ $$step"; $(BIN)/$$step || status=1; \
	done; exit $$status

quick: $(VENV)/.installed-dev test-programs
	PATH="$$PATH:/usr/sbin" $(BIN)/python -m pytest -n $(JOBS) -q -m "not slow" $(ARGS)

bench: $(VENV)/.installed-dev
	@exec $(BIN)/python -m bench $(ARGS)

bench-desk: $(VENV)/.installed-dev test-programs $(PAGE)
	@exec $(BIN)/python -m bench.desk $(ARGS)

# Seeds of all profiles in turn; what breaks a rule is shrunk and stored beside the others in tests/studio/seeds.
SEEDS ?= 300

campaign: $(VENV)/.installed-dev
	@exec $(BIN)/python -m tests.studio $(or $(ARGS),campaign --seeds $(SEEDS) --jobs $(JOBS))

# What comes from outside, as nobody should send it; a finding is made small and stored in tests/fuzz/corpus.
RUNS   ?= 200000
TARGET ?=

fuzz: $(VENV)/.installed-dev
	@exec $(BIN)/python -m tests.fuzz $(TARGET) --runs $(RUNS) $(ARGS)

# SIGKILL at random while 24 simulated decks roll: real processes, 200 rounds in about 15 minutes. A few are in make test.
N ?= 200

kills: $(VENV)/.installed-dev
	@exec $(BIN)/python -m tests.real kills --rounds $(N) $(ARGS)

# Which branches the tests take: twice the time of make test. Whatever fails there fails here too.
coverage: $(VENV)/.installed-dev $(ORACLE)/.installed test-programs $(PAGE)
	@export PATH="$$PATH:/usr/sbin"; status=0; mkdir -p build; $(BIN)/python -m coverage erase; \
	$(BIN)/python -m coverage run -m pytest -q -n $(JOBS) -o timeout=180 --ignore=tests/desk $(ARGS) || status=1; \
	$(BIN)/python -m coverage combine -q && $(BIN)/python -m coverage json -q -o build/coverage.json; \
	$(BIN)/python -m tests.branches build/coverage.json $(BOUNDS) || status=1; exit $$status

# Is a changed line noticed by a test? The safety core, or the lines of a range of commits.
mutants: $(VENV)/.installed-dev
	@exec $(BIN)/python -m tests.mutants $(or $(ARGS),--sample 60 --jobs $(JOBS))

# --- upkeep -----------------------------------------------------------------------------------------------------------

# The locks hold the extras that the demo hall needs. Ranges stand in pyproject.toml, versions and hashes in the locks; no lock holds the name of a host.
EXTRAS := --extra hash --extra print --extra simulate
LOCK := uv pip compile --universal --python-version 3.11 --generate-hashes --custom-compile-command "make lock" --quiet $(ARGS)

lock: $(BIN)/python
	@command -v uv >/dev/null || [ -x $(BIN)/uv ] || $(PIP) uv
	@export PATH="$$PATH:$(CURDIR)/$(BIN)"; \
	$(LOCK) pyproject.toml $(EXTRAS) -o requirements.lock; \
	$(LOCK) --group build -c requirements.lock -o requirements-build.lock; \
	$(LOCK) --group ui --no-deps -o requirements-ui.lock; \
	$(LOCK) --group oracle -o requirements-oracle.lock; \
	$(LOCK) pyproject.toml $(EXTRAS) --group dev -c requirements.lock -c requirements-build.lock -o requirements-dev.lock
	@! grep -nE '://|^--' requirements*.lock || { echo 'A lock names a host. Take the line out.' >&2; exit 1; }

clean:
	rm -rf $(VENV) $(ORACLE) stagectl/desk/web stagectl/desk/node_modules dist build .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache .coverage .coverage.*
	find stagectl drivers simulators tests bench -name __pycache__ -type d -prune -exec rm -rf {} +
