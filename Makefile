# Everything runs from the environment in .venv, which `.ci/environment` makes and keeps.
#
#   make sample    the documents of a sample job, into out/
#   make desk      the desk with two sample jobs, at http://127.0.0.1:8080, until Ctrl-C
#   make test      every check there is
#   make quick     only the checks that your change calls for
#   make golden    accept how the sheets look now, after you have looked
#   make bench     benchmarks, compared with a bare engine or a general solver
#   make agreement  300 random jobs, their papers read by other programs and compared, in minutes
#   make campaign   inputs, sets and archives spoilt, processes killed, calls failing, by a fresh seed; MINUTES=30
#                   LONG=sqlite or LONG=postgresql: writers at work on one office at once, and killed
#   make sweeps    one quantity at a time, in a quarter of an hour: fails where a date moves the wrong way
#   make lowest    the samples with the lowest versions that pyproject.toml allows
#   make bare      sample and libraries on fresh Debians, in minutes, as root; TRIALS=tests for the whole suite
#   make image     the image of the Containerfile, built with buildah and run once, as root
#   make lock      choose the versions in requirements.lock and requirements-dev.lock again
#   make clean     back to a fresh clone

RUN := .venv/bin
# Begins a hundred processes: each would compile what it imports if none may keep the bytecode.
SUITE := env -u PYTHONDONTWRITEBYTECODE $(RUN)/pytest -n logical --maxprocesses 8 --dist loadgroup --no-loadscope-reorder
SAMPLE := sample_jobs/summer-garage
ISSUED := 2026-07-14T12:30:00-04:00

.PHONY: sample desk desk-samples test suite types quick agreement campaign lowest bare image bench sweeps pictures golden lock clean environment desk-environment test-environment

sample: environment
	@$(RUN)/handover issue $(SAMPLE)/job.toml --weather $(SAMPLE)/weather.csv --as-of $(ISSUED) -o out/summer-garage

# Its clock begins an hour after finishing of the sample, so that its pages show the first day.
DESK := out/desk
OTHER := sample_jobs/driveway-compound
PORT := 8080
desk: desk-samples
	@$(RUN)/handover serve --archive $(DESK)/archive --as-of $(ISSUED) --listen 127.0.0.1:$(PORT)

desk-samples: desk-environment
	@mkdir -p $(DESK)
	@$(RUN)/handover issue $(SAMPLE)/job.toml --weather $(SAMPLE)/weather.csv --as-of $(ISSUED) -o $(DESK)/summer-garage >$(DESK)/log 2>&1
	@$(RUN)/handover issue $(OTHER)/job.toml --weather $(OTHER)/weather.csv --as-of 2026-05-05T14:45:00-04:00 -o $(DESK)/driveway >>$(DESK)/log 2>&1
	@$(RUN)/handover archive $(DESK)/summer-garage $(DESK)/driveway --to $(DESK)/archive >>$(DESK)/log 2>&1

# The checks that take a while run side by side: where one has an idle processor, another fills it.
test: test-environment
	$(RUN)/ruff check .
	$(RUN)/ruff format --check .
	@$(MAKE) --no-print-directory --jobs 3 suite types lowest

suite:
	$(SUITE)

types:
	$(RUN)/mypy

quick: test-environment
	@$(RUN)/ruff check .
	@$(RUN)/ruff format --check .
	@$(RUN)/mypy
	@mkdir -p out
	@$(RUN)/python .ci/changed.py >out/changed
	@$(SUITE) -q --no-header @out/changed

agreement: test-environment
	@$(RUN)/python tests/agreement

# Faults stay in out/campaigns/SEED, each with what is needed to try it again. BLAS with a thread of its own
# would make each fork dangerous.
MINUTES := 30
LONG :=
campaign: test-environment
	@OPENBLAS_NUM_THREADS=1 $(RUN)/python tests/campaigns --minutes $(MINUTES) $(if $(LONG),--long --database $(LONG))

bench: environment
	@for each in tests/benchmarks/bench_*.py tests/benchmarks/*_against_*.py; do $(RUN)/python $$each || exit 1; done

sweeps: environment
	@$(RUN)/python tests/benchmarks/matrix.py sweeps

# Fresh Debians in out/bare, of what is committed: debootstrap once, then a machine for each trial.
TRIALS :=
bare:
	@python3 tests/bare $(TRIALS)

image:
	@python3 tests/bare/image.py

# One resolution for all systems and all versions of Python. The shorter lock begins as the longer one, so that
# both name the same versions. `make lock UPGRADE=` keeps the versions that still fit.
UPGRADE := --upgrade
COMPILE := $(RUN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes \
    --no-emit-index-url --no-emit-find-links --custom-compile-command "make lock" pyproject.toml
lock: test-environment
	$(COMPILE) $(UPGRADE) --all-extras --group dev --output-file requirements-dev.lock >/dev/null
	cp requirements-dev.lock requirements.lock
	cp requirements-dev.lock requirements-desk.lock
	$(COMPILE) --group build --output-file requirements.lock >/dev/null
	$(COMPILE) --group build --extra desk --output-file requirements-desk.lock >/dev/null

# The lowest versions that pyproject.toml allows, in an environment of their own: every module, every sample.
lowest: test-environment
	@.ci/lowest

# The pictures in the README, from the documents of the sample. They need pdftoppm and chromium.
PICTURES := sample_jobs/pictures
pictures: sample test-environment
	@mkdir -p $(PICTURES)
	pdftoppm -r 72 -png -singlefile -f 1 out/summer-garage/care-sheet.pdf $(PICTURES)/care-sheet
	pdftoppm -r 72 -png -singlefile -f 2 out/summer-garage/care-sheet.pdf $(PICTURES)/watering
	pdftoppm -r 72 -png -singlefile -f 1 out/summer-garage/data-sheet.pdf $(PICTURES)/data-sheet
	chromium --headless --no-sandbox --hide-scrollbars --window-size=390,844 \
	    --screenshot=$(PICTURES)/care-page.png out/summer-garage/care-page.html 2>/dev/null
	rm -rf $(DESK)
	@$(MAKE) --no-print-directory desk-samples
	$(RUN)/python tests/desk/pictures.py $(DESK)/archive $(PICTURES)

# Accept how the sheets of the samples look now; look at every changed picture before you commit it.
golden: test-environment
	HANDOVER_ACCEPT_PICTURES=1 $(RUN)/pytest -q tests/golden -k "care_sheet or crew_sheet or data_sheet"

clean:
	rm -rf .venv out dist .mypy_cache .ruff_cache .pytest_cache .import_linter_cache .hypothesis
	find handover tests -name __pycache__ -type d -prune -exec rm -rf {} +

environment:
	@.ci/environment

desk-environment:
	@.ci/environment --desk

test-environment:
	@.ci/environment --tests
