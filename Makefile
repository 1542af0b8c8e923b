# Loomproof: every target does its own set-up. `make demo` and `make test` are the two that matter.
PY ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed
DEB_FIRMWARE := gcc libc6-dev make gcc-avr avr-libc binutils-avr simavr libsimavr-dev libelf-dev util-linux
DEB_TEST := ngspice tmux chromium fonts-firacode fonts-dejavu-core
DEB_FUZZ := clang libclang-rt-dev cppcheck

C_SOURCES := $(wildcard $(patsubst %,%/*.[ch],firmware/* firmware/cosim/shim tests/firmware))

.PHONY: firmware demo test setup lint types contract stale pytest benchmarks campaign lock debs clean generate

demo: setup
	$(BIN)/loomproof demo

test: setup debs lint types contract stale pytest

setup: $(STAMP)

$(STAMP): requirements/lock.txt pyproject.toml
	@$(PY) -c 'import ensurepip' 2>/dev/null || sh tools/debian-packages.sh python3-venv
	@[ -x $(BIN)/python ] || $(PY) -m venv $(VENV)
	$(BIN)/pip install -q --disable-pip-version-check --require-hashes -r requirements/lock.txt
	$(BIN)/pip install -q --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

debs:
	sh tools/debian-packages.sh $(DEB_TEST) $(DEB_FIRMWARE) $(DEB_FUZZ)

firmware:
	sh tools/debian-packages.sh $(DEB_FIRMWARE)
	$(MAKE) -C firmware

lint: setup
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/clang-format --dry-run --Werror $(C_SOURCES)

types: setup
	$(BIN)/mypy

contract: setup
	$(BIN)/lint-imports

stale: setup
	$(BIN)/python -m loomproof_wire.generate --check
	$(BIN)/python -m loomproof.job.publish --check

generate: setup
	$(BIN)/python -m loomproof_wire.generate
	$(BIN)/python -m loomproof.job.publish

pytest: setup
	$(BIN)/pytest -n 2

benchmarks: setup firmware
	$(BIN)/python -m benchmarks

MINUTES ?= 120
campaign: setup debs
	$(BIN)/python -m benchmarks.campaign --minutes $(MINUTES)

lock:
	$(BIN)/pip-compile -q --generate-hashes --allow-unsafe --extra dev --strip-extras \
	  --no-emit-index-url --no-emit-trusted-host --no-emit-find-links -o requirements/lock.txt pyproject.toml

clean:
	rm -rf $(VENV) out build dist
