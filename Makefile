# Every task; on a machine without make, call the scripts themselves: sh scripts/try.sh.
.PHONY: try check bench requirements

try: ## set up, then read real drums
	@sh scripts/try.sh

check: ## set up, then run every check and test
	@sh scripts/check.sh

bench: ## measure accuracy and speed, print the tables of docs/benchmarks.md
	@sh scripts/bench.sh

# uv resolves for every platform and Python at once; the files carry hashes and no address.
COMPILE = uv pip compile --quiet --universal --python-version 3.11 --generate-hashes \
	--no-header --no-annotate --no-emit-index-url --no-emit-find-links
requirements: ## pin anew (needs uv)
	$(COMPILE) pyproject.toml requirements/run.in -o requirements/run.txt
	$(COMPILE) pyproject.toml requirements/run.in requirements/test.in -o requirements/test.txt
