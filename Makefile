# make demo   a book with an invented shop's week in it, and its papers, under out/
# make test   everything the tests hold
# make bench  times, beside a reference in the same run; nothing passes or fails
# make words  bring the catalogues of the pages' other languages up to date
# make fix    format and mend what can be mended by itself
# make lint   look, and change nothing
# make lock   write requirements.lock anew (for maintainers; needs uv)

PY := .venv/bin/python

.PHONY: demo test bench words fix lint lock

demo: .venv/.ok
	mkdir -p out
	$(PY) -m fillbook demo --book out/demo.db --out out/demo

test: .venv/.ok
	$(PY) -m pytest -q -n 2

bench: .venv/.ok
	$(PY) -m tests.bench

words: .venv/.ok
	$(PY) -m tests.words -v

fix: .venv/.ok
	$(PY) -m ruff check --fix .
	$(PY) -m ruff format .

lint: .venv/.ok
	$(PY) -m ruff check .
	$(PY) -m ruff format --check .
	$(PY) -m mypy --strict trace/core

lock:
	uv pip compile -q --universal --python-version 3.11 --generate-hashes --no-annotate --no-header \
		--extra dev pyproject.toml build.in -o requirements.lock

.venv/.ok: pyproject.toml requirements.lock
	python3 -m venv .venv
	$(PY) -m pip install -q --require-hashes -r requirements.lock
	$(PY) -m pip install -q --no-deps --no-build-isolation -e .
	touch $@
