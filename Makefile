# make demo: try it. make test: check everything. The rest is for contributors.
BIN := .venv/bin

.PHONY: setup setup-dev demo test bench lint lock

setup: .venv/.runtime
	@.ci/debian-libraries runtime

setup-dev: .venv/.development
	@.ci/debian-libraries runtime development

demo: setup
	@$(BIN)/python manage.py demo

# make test ARGS="-k receipt" runs some of it
test: setup-dev
	@$(BIN)/python -m pytest -n 2 $(ARGS)

bench: setup-dev
	@$(BIN)/python -m tests.bench

lint: setup-dev
	@$(BIN)/ruff check
	@$(BIN)/ruff format --check

# The locks are made from the .in files; only the .in files are edited by hand.
lock:
	@.ci/lock

.venv/.runtime: requirements.txt
	@.ci/install $<
	@touch $@

.venv/.development: requirements-dev.txt
	@.ci/install $<
	@touch .venv/.runtime $@
