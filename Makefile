# Only relative paths below, so that the checkout may lie in a folder with spaces in its name.

PYTHON ?= python3
JOBS ?= auto
ARGS ?=
CASES ?= 20000

VENV := .venv
RUN := $(VENV)/bin/python
SERVICE := $(VENV)/installed-service
DEVELOPMENT := $(VENV)/installed-development
INSTALL := $(RUN) -m pip install --quiet --disable-pip-version-check --no-input --require-hashes
LOCK := $(RUN) -m uv pip compile --quiet --python-version 3.11 --generate-hashes \
	--no-emit-index-url --no-emit-find-links --no-header
# Checks read the settings but no data: a folder of their own keeps them off the service's.
CHECK := DATA_DIR=build/check $(RUN)

.DELETE_ON_ERROR:
.PHONY: help demo serve test fuzz check check-types check-rest openapi format bench audit lock clean

help:
	@echo 'make demo     an invented company with years of history, and a live measurement'
	@echo '              (ONCE=1 ends after the result, PORT=8001 takes another port)'
	@echo 'make serve    the same service, empty, for real use on this machine'
	@echo 'make test     the whole test suite (ARGS="tests/calc -k air" for a part of it)'
	@echo 'make fuzz     requests made from the OpenAPI document (CASES=20000 says how many)'
	@echo 'make check    format, lint, types, layering, migrations and OpenAPI in step'
	@echo 'make openapi  write docs/openapi.yaml anew from the code'
	@echo 'make format   let the formatter and the linter mend what they can'
	@echo 'make bench    each figure beside its yardstick in the same run'
	@echo 'make audit    known vulnerabilities of the locked requirements; needs the internet'
	@echo 'make lock     renew the locked requirements after a change in pyproject.toml'
	@echo 'make clean    remove what was installed and built; the data in var/ stay'

demo: $(SERVICE)
	@$(RUN) manage.py demo $(if $(ONCE),--once)

serve: $(SERVICE)
	@$(RUN) manage.py serve

# A file stays with one worker: what its tests share is made once. tests/conftest.py has the order.
test: $(DEVELOPMENT)
	@$(RUN) -m pytest -n $(JOBS) --dist loadfile --no-loadscope-reorder $(ARGS)

fuzz: $(DEVELOPMENT)
	@CASES=$(CASES) $(RUN) -m pytest -n $(JOBS) tests/api/test_generated_requests.py $(ARGS)

# The types take as long as all the rest together.
check: $(DEVELOPMENT)
	@$(MAKE) --no-print-directory --jobs=2 check-types check-rest

check-types:
	$(CHECK) -m mypy

check-rest:
	$(RUN) -m ruff format --check .
	$(RUN) -m ruff check .
	$(CHECK) -c 'from importlinter.cli import lint_imports_command as run; run()'
	$(CHECK) manage.py check
	@# It would like to ask a database what was applied there; none is running.
	$(CHECK) -W ignore::RuntimeWarning manage.py makemigrations --check --dry-run
	@mkdir -p build
	$(CHECK) manage.py spectacular --validate --fail-on-warn --file build/openapi.yaml
	@diff -u docs/openapi.yaml build/openapi.yaml \
		|| { echo 'docs/openapi.yaml is behind the code: run make openapi and look at the change.'; exit 1; }

openapi: $(DEVELOPMENT)
	$(CHECK) manage.py spectacular --validate --fail-on-warn --file docs/openapi.yaml

format: $(DEVELOPMENT)
	$(RUN) -m ruff check --fix .
	$(RUN) -m ruff format .

bench: $(DEVELOPMENT)
	@$(RUN) -m benchmarks $(ARGS)

# The auditor wants a project, and fails where it could not ask its database.
audit: $(DEVELOPMENT)
	@mkdir -p build/audit
	@{ printf '[project]\nname = "audited"\nversion = "0"\nrequires-python = ">=3.11"\n'; \
		echo 'dependencies = ['; \
		sed -n 's/^\([A-Za-z0-9][^ ]*==[^ ;]*\).*/  "\1",/p' requirements-dev.txt; \
		echo ']'; } > build/audit/pyproject.toml
	$(RUN) -m uv audit --preview-features audit-command --project build/audit

lock: $(DEVELOPMENT)
	$(LOCK) pyproject.toml --output-file requirements.txt
	$(LOCK) --extra dev --constraint requirements.txt pyproject.toml --output-file requirements-dev.txt

clean:
	rm -rf $(VENV) build staticfiles .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache

# What was installed holds until its list changes. A folder left half made, or made by a Python
# that is gone, is made anew.
$(SERVICE): requirements.txt
	@$(MAKE) --no-print-directory $(RUN)
	@echo 'Installing what the service needs into $(VENV) (once; under a minute) ...'
	@$(INSTALL) -r requirements.txt
	@touch $@

$(DEVELOPMENT): requirements-dev.txt
	@$(MAKE) --no-print-directory $(RUN)
	@echo 'Installing what the tests need into $(VENV) (once; some two minutes) ...'
	@$(INSTALL) -r requirements-dev.txt
	@touch $@ $(SERVICE)

.PHONY: $(RUN)
$(RUN):
	@if ! $(RUN) -c '' 2>/dev/null || ! $(RUN) -m pip --version >/dev/null 2>&1; then \
		$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || { \
			echo "Python 3.11 or newer is needed, but $(PYTHON) is $$($(PYTHON) --version 2>&1 || true):" \
				"name another, as in make PYTHON=python3.12"; exit 1; }; \
		rm -rf $(VENV); \
		$(PYTHON) -m venv $(VENV) || { rm -rf $(VENV); exit 1; }; \
	fi
