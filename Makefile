# make demo   sets up and runs the main job on an invented vehicle; papers in out/
# make test   sets up and runs every check and test
# make bench  sets up and measures speed; figures on the screen and in bench/results.json
# make screenshots   pictures of every page at three widths; in out/screenshots/
# make evidence   regenerates the documents under docs/ that report figures
PYTHON ?= python3
VENV ?= .venv
BIN = $(VENV)/bin
.DEFAULT_GOAL := help
.PHONY: help demo test bench screenshots evidence setup-run setup-dev clean

help:
	@sed -n 's/^# //p' Makefile

setup-run:
	@command -v $(PYTHON) >/dev/null || { echo "setup: no $(PYTHON) found; install Python 3.11 or newer"; exit 1; }
	@$(PYTHON) tools/setup_env.py requirements/run.txt --venv $(VENV)

setup-dev:
	@command -v $(PYTHON) >/dev/null || { echo "setup: no $(PYTHON) found; install Python 3.11 or newer"; exit 1; }
	@$(PYTHON) tools/setup_env.py requirements/dev.txt --venv $(VENV)

demo: setup-run
	@$(BIN)/sagtrace demo --out out

test: setup-dev
	@$(BIN)/python tools/browser.py
	@$(BIN)/python tools/check.py

bench: setup-dev
	@$(BIN)/python -m bench

screenshots: setup-dev
	@$(BIN)/python tools/browser.py
	@$(BIN)/python tools/screenshots.py out/screenshots

evidence: setup-dev
	@$(BIN)/python tools/make_validation.py
	@$(BIN)/python tools/make_cli_reference.py
	@$(BIN)/python tools/make_messages.py

clean:
	rm -rf $(VENV) out .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache
