# Tercet. `make help` lists what there is to make; each target does the set-up that it needs.
# Without make: python tools/set_up.py --help

.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
.PHONY: help demo desk test check static format-check lint types imports format setup docs wheel wheels fonts editor player constraints fuzz clean clean-all

# Any Python from 3.6 on may start the set-up, which then looks for one that Tercet runs on.
# To choose one: make PYTHON=/usr/local/bin/python3.12 demo
NAMES  := python3 python3.15 python3.14 python3.13 python3.12 python3.11 python
PYTHON ?= $(shell for name in $(NAMES); do \
    $$name -c 'import sys; sys.exit(sys.version_info < (3, 6))' >/dev/null 2>&1 && echo $$name && break; done)
BIN    := $(if $(filter Windows_NT,$(OS)),.venv/Scripts,.venv/bin)
SET_UP  = $(if $(strip $(PYTHON)),"$(PYTHON)" tools/set_up.py,echo "No Python was found: install Python 3.11 or newer." >&2; exit 3;)

help: ## list the targets
	@sed -n 's/^\([a-z-]*\):[^#]*## /\1\t/p' Makefile | while IFS='	' read -r name text; do printf '  make %-13s %s\n' "$$name" "$$text"; done

demo: ## set up, then make one song's class page, with its recordings, in demo/
	@$(SET_UP) run
	$(BIN)/tercet page songs/harbour-lanterns.yaml -o demo/
	@echo "to write songs of your own and hear them: make desk"

desk: ## set up, then open the desk: write songs and hear them, in a window of your browser
	@$(SET_UP) run
	$(BIN)/tercet desk

test: .dev ## set up, then run the tests
	@mkdir -p build
	$(BIN)/python $(if $(cover),-m slipcover) -m pytest -n 3 --dist worksteal $(PYTEST_ARGS)
	$(if $(cover),$(BIN)/python -m slipcover --merge build/coverage.json --fail-under 95)

check: cover := yes
check: static test ## everything a change must pass: format, lint, types, imports, tests, coverage

static: format-check lint types imports ## the part of check that runs no tests

format-check: .dev
	$(BIN)/ruff format --check --quiet .

lint: .dev
	$(BIN)/ruff check .

types: .dev
	$(BIN)/mypy

imports: .dev
	$(BIN)/lint-imports --no-cache --no-logo

format: .dev ## format the code and mend what ruff can mend
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

setup: .dev ## set up for working on Tercet, nothing else

docs: .dev ## make the pages of the documentation, the reference too, in build/docs/
	$(BIN)/python tools/docs_site.py

wheel: .dev ## make the package that pip installs, in dist/
	$(BIN)/python -m hatchling build -t wheel

wheels: .dev ## check that all that Tercet needs comes as wheels for Windows, macOS and Linux (downloads 300 MB)
	$(BIN)/python -m tools.wheels

fonts: ## fetch the sound font that some tests play with (Debian, Ubuntu; 148 MB)
	@$(SET_UP) fonts

editor: .bundles ## make the editor of the desk again from its releases (npm; downloads 10 MB)
	cd tools/bundles && node editor.mjs ../../render/tercet/desk/page/codemirror.js

player: .bundles ## make the class page's scripts and styles small again after a change (npm; downloads 10 MB)
	cd tools/bundles && node player.mjs ../../render/tercet/publish/page ../../render/tercet/publish/page/lean

constraints: ## choose the newest releases again and pin them in constraints.txt
	"$(PYTHON)" tools/pin.py

fuzz: .dev ## feed damaged songs and tunes to the readers for ten minutes (minutes=1 for less)
	$(BIN)/python tools/fuzz.py --minutes $(or $(minutes),10)

clean: ## remove what make made, except the set-up
	rm -rf build demo dist .hypothesis .import_linter_cache .mypy_cache .pytest_cache .ruff_cache
	find render tests tools -name __pycache__ -type d -prune -exec rm -rf {} +

clean-all: clean ## the same, and the set-up (.venv)
	rm -rf .venv

.PHONY: .dev
.dev:
	@$(SET_UP) dev

.PHONY: .bundles
.bundles:
	cd tools/bundles && { [ -d node_modules ] || npm ci --ignore-scripts --no-fund --no-audit; }
