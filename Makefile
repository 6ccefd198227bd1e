# Everything runs from the environment in .venv, which `.ci/environment` makes and keeps.
#
#   make sample    the documents of a sample job, into out/
#   make test      every check there is
#   make golden    take over how the sheets look now, after looking
#   make bench     how fast, beside what a bare engine or a general solver takes
#   make lock      choose the versions in requirements.lock anew
#   make clean     back to a fresh clone

RUN := .venv/bin
SAMPLE := sample_jobs/summer-garage
ISSUED := 2026-07-14T12:30:00-04:00

.PHONY: sample test bench pictures golden lock clean environment test-environment

sample: environment
	@$(RUN)/handover issue $(SAMPLE)/job.toml --weather $(SAMPLE)/weather.csv --as-of $(ISSUED) -o out/summer-garage

test: test-environment
	$(RUN)/ruff check .
	$(RUN)/ruff format --check .
	$(RUN)/mypy
	$(RUN)/pytest

bench: environment
	@for each in tests/benchmarks/bench_*.py tests/benchmarks/*_against_*.py; do $(RUN)/python $$each || exit 1; done

# pip-tools brings its own pip; it gets an environment of its own, away from the one it describes.
lock: environment
	@$(RUN)/python -m venv --clear out/lock
	@out/lock/bin/pip install --quiet --disable-pip-version-check pip-tools
	CUSTOM_COMPILE_COMMAND="make lock" out/lock/bin/pip-compile --quiet --upgrade --extra dev \
	    --build-deps-for editable --generate-hashes --allow-unsafe --strip-extras --no-emit-index-url \
	    --no-emit-trusted-host --no-emit-find-links --output-file requirements.lock pyproject.toml
	@rm -rf out/lock

# The pictures in the README, from the documents of the sample. They need pdftoppm and chromium.
PICTURES := sample_jobs/pictures
pictures: sample test-environment
	@mkdir -p $(PICTURES)
	pdftoppm -r 72 -png -singlefile -f 1 out/summer-garage/care-sheet.pdf $(PICTURES)/care-sheet
	pdftoppm -r 72 -png -singlefile -f 2 out/summer-garage/care-sheet.pdf $(PICTURES)/watering
	pdftoppm -r 72 -png -singlefile -f 1 out/summer-garage/data-sheet.pdf $(PICTURES)/data-sheet
	chromium --headless --no-sandbox --hide-scrollbars --window-size=390,844 \
	    --screenshot=$(PICTURES)/care-page.png out/summer-garage/care-page.html 2>/dev/null

# Take over how the sheets of the samples look now; look at every picture that changed before you commit it.
golden: test-environment
	HANDOVER_ACCEPT_PICTURES=1 $(RUN)/pytest -q tests/golden -k "care_sheet or data_sheet"

clean:
	rm -rf .venv out dist .mypy_cache .ruff_cache .pytest_cache .import_linter_cache .hypothesis
	find handover tests -name __pycache__ -type d -prune -exec rm -rf {} +

environment:
	@.ci/environment

test-environment:
	@.ci/environment --tests
