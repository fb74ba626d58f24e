# What a user and a contributor can do here; `make` lists it.
PYTHON := /usr/bin/python3
.PHONY: help demo test matrix types proof bench sample docs models styles sheets contract pages lint package clean

help: ## list the targets
	@grep -hE '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed -E 's/^([a-z]+):.*## /\1\t/' | expand -t 12

demo: ## install what is missing, run the whole job on sample_project/, say where the results are
	@bash tools/demo.sh

test: ## the whole test suite (under five minutes on two cores)
	@bash tools/setup.sh test
	@$(PYTHON) tools/test.py

matrix: ## the suite, the demo and the zip on QGIS 3.22, 3.40, 3.44, tests on Qt 6, typed rules (root, Debian)
	@bash tools/matrix.sh

types: ## mypy against the types of QGIS 3.22 and of 3.44 on PyQt6 (after make matrix)
	@$(PYTHON) tools/typed.py

proof: ## the long Monte Carlo runs, as tables; deliberate breaks
	@bash tools/setup.sh test proof
	@$(PYTHON) tools/proof.py

bench: ## speed, memory and error against what a GIS user would do instead
	@bash tools/setup.sh test
	@bash tools/run.sh bench

sample: ## make the sample project again from its seed
	@bash tools/setup.sh demo
	@bash tools/run.sh sample_project.simulate
	@bash tools/run.sh tools.make_sample_project

docs: ## make the guide's figures and the bundled help pages again
	@bash tools/setup.sh docs
	@bash tools/run.sh tools.docs.figures
	@bash tools/run.sh tools.docs.boat_figure
	@bash tools/run.sh tools.docs.record_figures
	@bash tools/run.sh tools.docs.mapped_record
	@bash tools/run.sh tools.docs.plan_figures
	@bash tools/run.sh tools.docs.first_hour
	@bash tools/run.sh tools.docs.tool_pictures
	@bash tools/run.sh tools.docs.pages

models: ## draw the ready-made models again, with the oldest QGIS supported
	@bash tools/run.sh tools.models

styles: ## draw the styles of all layers and rasters again, with the oldest QGIS supported
	@bash tools/run.sh tools.styles

sheets: ## draw the print layouts again, with the oldest QGIS supported
	@bash tools/run.sh tools.map_sheets

contract: ## write the snapshots of fields and parameters again; read the difference
	@bash tools/setup.sh test
	@ATHWART_RENEW_CONTRACT=1 $(PYTHON) tools/test.py tests/survey/test_schemas.py tests/algorithms/test_contract.py -q

pages: ## valid HTML that everybody can read? (needs npm and Chromium)
	@bash tools/check_pages.sh

lint: ## style, static checks and types of the core
	@bash tools/setup.sh lint
	@.build/lint/bin/ruff check .
	@PYTHONPATH=.build/lint $(PYTHON) -m mypy
	@$(PYTHON) tools/untyped.py

package: ## the zip that QGIS's plugin manager installs
	@$(PYTHON) tools/package.py

clean: ## remove what the other targets made
	rm -rf .build build athwart.egg-info results athwart.zip
