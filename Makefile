# make demo: try it. make test: check everything. The rest is for contributors.
PYTHON ?= python3.11
BIN := .venv/bin

.PHONY: setup setup-dev demo test bench lint lock

setup: .venv/.runtime
	@.ci/debian-libraries runtime

setup-dev: .venv/.development
	@.ci/debian-libraries runtime development

demo: setup
	@$(BIN)/python manage.py demo

test: setup-dev
	@$(BIN)/python -m pytest -n 2

bench: setup-dev
	@$(BIN)/python -m tests.bench

lint: setup-dev
	@$(BIN)/ruff check
	@$(BIN)/ruff format --check

# The locks are made from the .in files; only the .in files are edited by hand.
lock:
	@.ci/lock

.venv/bin/python:
	@$(PYTHON) -m venv .venv

.venv/.runtime: requirements.txt | .venv/bin/python
	@.ci/install requirements.txt
	@touch $@

.venv/.development: requirements-dev.txt | .venv/bin/python
	@.ci/install requirements-dev.txt
	@touch .venv/.runtime $@
