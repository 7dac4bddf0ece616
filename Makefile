# Groundwork. `make help` lists the targets.
GO      ?= go
PIECE   ?= heron-side-table
OUT     ?= out/$(PIECE)
FOLDER  ?= out/folder
FUZZTIME ?= 20s
NESTTIME ?= 60
NESTSEEDS ?= 0,1,2

# Properties are drawn from one seed, so that the same code passes or fails the
# same way everywhere. `make test RAPID_SEED=0` draws afresh.
export RAPID_SEED ?= 20261126

# npm ci takes a while and is only needed when the lock file is newer.
NPM_CI = cd web/ui && { test node_modules/.package-lock.json -nt package-lock.json || npm ci --no-audit --no-fund; }

.PHONY: help demo serve test test-page test-outside test-long build kernel ui lint bench nestbench fuzz golden clean

help: ## list the targets
	@awk -F ':.*## ' '/^[a-z-]+:.*## / {printf "  %-14s %s\n", $$1, $$2}' $(MAKEFILE_LIST)

demo: build ## make the demo side table's job folder under out/ (PIECE=otter-stool for another)
	bin/groundwork plan examples/$(PIECE).yaml --shop examples/shop.yaml --out $(OUT) --replace

serve: build ## open the page on a folder of pieces (FOLDER=..., else out/folder with the demo side table)
	@test -e $(FOLDER) || { mkdir -p $(FOLDER) && cp examples/heron-side-table.yaml examples/shop.yaml $(FOLDER); }
	bin/groundwork serve $(FOLDER) --open

test: kernel ## vet and test everything that Go and Node alone can test
	$(GO) vet ./...
	$(GO) test ./...
	$(NPM_CI) && npm run check && npm test

test-page: build ## go through the page as a person would, in Debian's Chromium (pictures in out/page)
	tools/outside/install.sh page
	cd web/e2e && npm ci --no-audit --no-fund && npx playwright test

# Packages with comparisons with outside programs; the others make test has tested.
OUTSIDE = $(addprefix ./,$(sort $(dir $(shell grep -rl '^//go:build outside' --include=*_test.go internal cmd tools))))

test-outside: kernel ## compare results with outside programs (installs Debian packages)
	tools/outside/install.sh
	$(GO) test -tags outside -timeout 30m -count=1 $(OUTSIDE)

test-long: kernel ## what takes minutes: large models made for pictures, counts of their parts beside a plain grid
	$(GO) test -tags long -timeout 60m -count=1 -v -run 'Closed|Beside|Seams|ExamplesPosed|QuickEstimate|TestKilled$$' ./internal/job ./internal/printing ./internal/store

build: kernel ui ## build the program with its page into bin/
	REQUIRE_UI=1 $(GO) test -count=1 ./web
	$(GO) build -o bin/groundwork ./cmd/groundwork

kernel: ## fetch the solid kernel from npm, pinned by its hash
	$(GO) run ./tools/kernel

ui: ## build the page into web/dist, where the program embeds it
	$(NPM_CI) && npm run build

lint: ## check formatting and vet
	@test -z "$$(gofmt -l .)" || { echo "not gofmt'ed:"; gofmt -l .; exit 1; }
	$(GO) vet ./...
	$(GO) vet -tags outside ./...
	$(GO) vet -tags long ./...

bench: build ## run the benchmarks whose results stand in docs/benchmarks.md
	@for p in heron-side-table tern-wall-shelf otter-stool badger-bench; do echo "$$p"; \
	  $(GO) run ./tools/measure 10 bin/groundwork plan examples/$$p.yaml --shop examples/shop.yaml --out out/$$p --replace; done
	$(GO) test -run '^$$' -bench . -benchtime 3x ./...

nestbench: ## nest the published instances, NESTTIME seconds at each of NESTSEEDS: table and curves in out/nestbench
	$(GO) run ./tools/nestbench -seconds $(NESTTIME) -seeds $(NESTSEEDS) -out out/nestbench internal/nest/testdata/classic

fuzz: ## fuzz every parser for FUZZTIME each
	@for pkg in $$($(GO) list ./...); do \
	  for f in $$($(GO) test -list '^Fuzz' $$pkg 2>/dev/null | grep '^Fuzz'); do \
	    echo "$$pkg $$f"; $(GO) test -run '^$$' -fuzz "^$$f$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 5x $$pkg || exit 1; \
	  done; \
	done

golden: kernel ## rewrite the golden files; read the diff before you commit it
	GOLDEN=update $(GO) test ./...

clean: ## remove what was built
	rm -rf bin out
