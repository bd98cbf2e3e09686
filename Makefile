# Claspwright. Every target sets up what it needs on a fresh machine: Python 3.11 with venv, make and a network are enough.
#
#   make demo       build the first sample case and say where its report is
#   make test       lint, types, and all tests: core, packaging, inside two Blender modules, inside a desktop Blender if BLENDER names one
#   make extension  one Blender extension zip a platform, in dist/
#   make samples    make the made-up casts and the sample cases again
#   make bench      times and memory of the main jobs
#   make nightly    the long tests: the whole catalogue on every tooth, many random designs
#   make fuzz       ten minutes of coverage-guided fuzzing of all that is read
#   make reference  undercut depth of every vertex against the independent one (half an hour)
#   make lint       ruff and mypy alone
#   make clean      forget everything that make made

SHELL := bash
.SHELLFLAGS := -eu -o pipefail -c
.DEFAULT_GOAL := help
# Recipes share two cores with each other badly: geometry uses threads of its own.
.NOTPARALLEL:

# Blender's own Python up to 5.0 is 3.11 and its module (bpy) installs on no other, so the whole house is built on 3.11.
PYTHON ?= $(firstword $(shell command -v python3.11) python3)
PIP_FLAGS := --disable-pip-version-check --quiet

# Two test files at a time; each file's tests stay together, so that what they share is built once.
SIDE_BY_SIDE := -n 2 --dist loadfile

BPY45 := .venv-bpy45
BPY50 := .venv-bpy50
DEPS := pyproject.toml

.PHONY: help demo nightly fuzz reference test test-core test-addon test-numpy1 extension samples bench lint types wheels system clean

help:
	@sed -n '3,14s/^# \{0,1\}//p' Makefile

# --- environments -----------------------------------------------------------------------------------------------

# The link gives mypy the package's own name whatever the checkout folder is called (pyproject.toml, [tool.mypy]).
.venv/.ready: $(DEPS)
	@echo "Setting up .venv (once; a minute or two)"
	@test -x .venv/bin/python || $(PYTHON) -m venv .venv
	@.venv/bin/python -m pip install $(PIP_FLAGS) --editable '.[dev]'
	@mkdir -p .venv/src && ln -sfn ../.. .venv/src/claspwright
	@touch $@

# Blender as a Python module. It wants NumPy below 2, so these two also prove the core on NumPy 1.26.
$(BPY45)/.ready: BPY_VERSION := 4.5.15
$(BPY50)/.ready: BPY_VERSION := 5.0.1
$(BPY45)/.ready $(BPY50)/.ready: $(DEPS)
	@echo "Setting up $(@D) with bpy $(BPY_VERSION) (once; a minute or two)"
	@test -x $(@D)/bin/python || $(PYTHON) -m venv $(@D)
	@$(@D)/bin/python -m pip install $(PIP_FLAGS) bpy==$(BPY_VERSION) 'numpy<2' --editable '.[test]'
	@touch $@

# System packages are for tests only, and only root can install them; elsewhere the tests that need one say so and skip.
system:
	@scripts/system_packages.sh

# --- jobs -------------------------------------------------------------------------------------------------------

demo: .venv/.ready
	@.venv/bin/claspwright build sample_scenes/lower_class_i/case.json -o out/lower_class_i
	@echo "Report: $(CURDIR)/out/lower_class_i/report.html"

samples: .venv/.ready $(BPY45)/.ready
	.venv/bin/python scripts/make_samples.py
	$(BPY45)/bin/python scripts/make_blend.py

bench: .venv/.ready
	.venv/bin/python scripts/bench.py

reference: .venv/.ready
	CLASPWRIGHT_SURVEY_EVERY=1 .venv/bin/python -m pytest tests/core/test_survey_reference.py -k test_depth -s

wheels: .venv/.ready
	@.venv/bin/python scripts/fetch_wheels.py

extension: wheels $(BPY45)/.ready
	@.venv/bin/python scripts/build_extension.py --python $(BPY45)/bin/python

# --- tests ------------------------------------------------------------------------------------------------------

types: .venv/.ready
	.venv/bin/mypy

lint: .venv/.ready types
	.venv/bin/ruff check .

# The parts are separate targets, so `make --keep-going test` (.ci/run) runs every part although one fails.
test: system lint extension test-addon test-numpy1 test-core

# Also the packaging tests and, where BLENDER is set, the desktop ones.
test-core: .venv/.ready
	.venv/bin/python -m pytest --ignore=tests/addon $(SIDE_BY_SIDE)

test-addon: $(BPY45)/.ready $(BPY50)/.ready
	$(BPY45)/bin/python -m pytest tests/addon
	$(BPY50)/bin/python -m pytest tests/addon

nightly: .venv/.ready
	.venv/bin/python -m pytest tests/core -m nightly $(SIDE_BY_SIDE)

# What reaches new code is kept in out/fuzz for the next time; a crash ends it and its input lies in out/.
fuzz: .venv/.ready
	@mkdir -p out/fuzz
	cd out && ../.venv/bin/python ../scripts/fuzz.py fuzz ../tests/fuzz_corpus -max_total_time=600 -rss_limit_mb=3000 -timeout=20

# The quick core tests again on NumPy 1.26, which most Blenders bring.
test-numpy1: $(BPY45)/.ready
	$(BPY45)/bin/python -m pytest tests/core -m "not slow and not nightly" $(SIDE_BY_SIDE)

clean:
	rm -rf .venv .venv-bpy45 .venv-bpy50 build dist wheels out *.egg-info .mypy_cache .ruff_cache .pytest_cache .hypothesis
