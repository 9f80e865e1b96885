# The project's commands. Everything lives in .venv, site/node_modules and build/; nothing is installed elsewhere except,
# for the checks and only where they are missing, a browser and Node.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
# What was compiled is kept, whatever the machine's settings say: tests start the program many times.
export PYTHONDONTWRITEBYTECODE =

.PHONY: site test test-long test-fast serve check lint lint-scripts schemas demo recovery bench fuzz attack lock clean

site: $(VENV)/.site
	@$(BIN)/edgehold site

serve: site
	@echo "the site is at http://127.0.0.1:8000/ (stop with Ctrl-C)"
	@$(BIN)/python -m http.server --bind 127.0.0.1 --directory build/site 8000

check: lint test

lint: $(VENV)/.test lint-scripts
	$(BIN)/ruff check aggregator tests site
	$(BIN)/ruff format --check aggregator tests site
	$(BIN)/mypy
	$(BIN)/zizmor --quiet --offline --no-progress --persona=pedantic .github/workflows
	$(BIN)/check-jsonschema --quiet --builtin-schema vendor.github-workflows .github/workflows/*.yml

# The scripts of the site: types by their JSDoc, and style.
lint-scripts: site/node_modules/.installed
	cd site && npm run --silent types
	cd site && npm run --silent style

test: $(VENV)/.test
	@tests/browser/install
	@tests/notebooks/install
	$(BIN)/python -m pytest -n auto --dist worksteal -m "not long"

test-long: $(VENV)/.test
	@tests/browser/install
	@tests/notebooks/install
	$(BIN)/python -m pytest -n auto --dist worksteal -m long

# For a change at hand: no browser, no simulation, no whole build.
test-fast: $(VENV)/.test
	$(BIN)/python -m pytest -n auto --dist worksteal -m "not browser and not long" --ignore tests/simulation --ignore tests/whole_path --ignore tests/fuzz --ignore tests/attack

schemas: $(VENV)/.site
	$(BIN)/python -m edgehold.results.publish.schemas
	$(BIN)/python -m tests.records.write_published_fixtures

demo: $(VENV)/.site
	$(BIN)/edgehold demo

# Every goal of speed and size in one table, with what was found; it is written before it fails where one is missed.
BENCHMARKS := commands "build_speed --one --write" posteriors "check_speed --write" "bench --write" "growth --write" \
	"forms build/site --write" "explorer build/site" "submission_weight build/site --write" "page_weights build/site --write"
bench: $(VENV)/.test site
	@tests/browser/install
	@rm -rf build/benchmarks
	@for one in $(BENCHMARKS); do $(BIN)/python -m tests.benchmarks.$$one; done
	@$(BIN)/python -m tests.benchmarks.goals --write

fuzz: $(VENV)/.test
	$(BIN)/python -m tests.fuzz.fuzz --cases 100000

# make attack CASES=2000 draws fewer; WRITE=--write keeps the table.
CASES ?= 100000
attack: $(VENV)/.test
	@tests/browser/install
	$(BIN)/python -m tests.attack.attack --cases $(CASES) $(WRITE)

$(VENV)/bin/python:
	$(PYTHON) -m venv $(VENV)

$(VENV)/.site: $(VENV)/bin/python pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[site]'
	@touch $@

# LOCK=.ci/lock/test.txt installs exactly what stands there; without it, the newest that pyproject.toml allows.
$(VENV)/.test: $(VENV)/bin/python pyproject.toml
	$(if $(LOCK),$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes --requirement $(LOCK))
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[site,cluster,test]'
	@touch $@ $(VENV)/.site

site/node_modules/.installed: site/package-lock.json
	@site/install-checks

recovery: $(VENV)/.test
	PYTHONPATH=. $(BIN)/python tests/simulation/recovery.py run --seeds 2000 --out build/recovery.jsonl

# What CI installs, to the byte: core for the check of a request, site for the publication, test for the tests; and what checks the scripts.
LOCK_OF = echo 'hatchling>=1.27,<2' | $(BIN)/uv pip compile pyproject.toml - --universal --python-version 3.11 --generate-hashes --upgrade \
	--quiet --no-annotate --custom-compile-command 'make lock'

lock: $(VENV)/.test site/node_modules/.installed
	@$(LOCK_OF) -o .ci/lock/core.txt
	@$(LOCK_OF) --extra site -o .ci/lock/site.txt
	@$(LOCK_OF) --extra site --extra cluster --extra test -o .ci/lock/test.txt
	@cd site && npm update --package-lock-only --ignore-scripts --no-audit --no-fund --loglevel=error

clean:
	rm -rf build site/node_modules $(VENV)
