# Everything a contributor does, each in one word. `make help` lists the words.
.DEFAULT_GOAL := help
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
TRIP ?= configs/trips/pyrenees_winter.toml

.PHONY: help demo test lint format bench clean

help: ## list what can be made
	@grep -E '^[a-z]+:.*## ' $(MAKEFILE_LIST) | sed 's/:.*## /\t/' | expand -t 10

$(BIN)/.installed: pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --upgrade pip
	$(BIN)/python -m pip install --quiet --editable .
	@touch $@

$(BIN)/.tested: $(BIN)/.installed
	$(BIN)/python -m pip install --quiet --editable '.[test]'
	@touch $@

$(BIN)/.linted: $(BIN)/.installed
	$(BIN)/python -m pip install --quiet --editable '.[lint]'
	@touch $@

demo: $(BIN)/.installed ## install, run the invented winter trip and say where its report is
	$(BIN)/offgrid-sim run $(TRIP)

test: $(BIN)/.tested ## install and run all tests
	$(BIN)/python -m pytest -n 2

lint: $(BIN)/.linted ## style and types
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

format: $(BIN)/.linted ## put the code into the house style
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: $(BIN)/.tested ## measure speed as ratios
	$(BIN)/python benchmarks/engine_speed.py
	$(BIN)/python benchmarks/run_command.py
	$(BIN)/python benchmarks/size_study.py
	$(BIN)/python benchmarks/stress_matrix.py
	$(BIN)/python benchmarks/report_build.py
	$(BIN)/python benchmarks/archive_reading.py

clean: ## remove what make made
	rm -rf $(VENV) build dist *.egg-info .pytest_cache .mypy_cache .ruff_cache
