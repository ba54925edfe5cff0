# Every target works in a fresh clone, twice in a row, beside another clone,
# and as root or not. Debian packages that are missing are installed first.

DATA ?= .data/demo
GO   ?= go
TREES ?= 100000,1000000
PMTILES := v1.31.2
# A clone owned by another user, or none at all, has no version to stamp.
STAMP := $(shell git status --porcelain >/dev/null 2>&1 || echo -buildvcs=false)
ONCE_FLAG := $(if $(filter 1,$(ONCE)),--once)
CLUSTERS := /var/lib/underbough/clusters

.DEFAULT_GOAL := help
.PHONY: help build viewer demo test test-clients bench lint fmt clean

help: ## list the targets
	@sed -n 's/^\([a-z-]*\):.*## \(.*\)/  make \1	\2/p' $(firstword $(MAKEFILE_LIST)) | expand -t 20

build: viewer ## build bin/underbough
	@mkdir -p bin
	$(GO) build $(STAMP) -o bin/underbough ./cmd/underbough

viewer: ## build the web page's files, where Node is there
	@if [ ! -e api/viewer/package.json ]; then exit 0; fi; \
	if ! command -v npm >/dev/null 2>&1; then echo "make: no npm: the map page is left out; on Debian: apt-get install npm" >&2; exit 0; fi; \
	cd api/viewer && \
	if [ ! -e node_modules/.package-lock.json ] || [ package-lock.json -nt node_modules/.package-lock.json ]; then \
		npm ci --no-audit --no-fund --loglevel=error && touch node_modules/.package-lock.json || exit 1; \
	fi; \
	npm run --silent build

demo: ## make, load and rank the demo, then serve it (ONCE=1 stops after the table; DATA=folder)
	@.ci/provision db
	@$(MAKE) --no-print-directory build
	@exec bin/underbough demo --data "$(DATA)" $(ONCE_FLAG)

test: ## run every test, on a throw-away database
	@.ci/provision db test
	@$(MAKE) --no-print-directory viewer
	@mkdir -p bin
	@$(GO) build $(STAMP) -o bin/withdb ./inventory/postgres/pgtest/withdb
	@# The format's own tool judges the tile files: run, not linked.
	@GOBIN="$(CURDIR)/bin" $(GO) install github.com/protomaps/go-pmtiles@$(PMTILES)
	@UNDERBOUGH_PMTILES="$(CURDIR)/bin/go-pmtiles" bin/withdb $(GO) test -timeout 20m ./...
	@$(MAKE) --no-print-directory test-clients

# Behind a build tag: they are slow and need much that `go test` does not install.
test-clients: viewer ## let GDAL, QGIS and map libraries in a browser read and edit the service, and use the map page
	@.ci/provision db test clients
	@cd api/clients && \
	if [ ! -e node_modules/.package-lock.json ] || [ package-lock.json -nt node_modules/.package-lock.json ]; then \
		npm ci --no-audit --no-fund --loglevel=error && touch node_modules/.package-lock.json || exit 1; \
	fi
	@mkdir -p bin
	@$(GO) build $(STAMP) -o bin/withdb ./inventory/postgres/pgtest/withdb
	@bin/withdb $(GO) test -tags clients ./api/clients
	@# The page in its browser, with the machine to itself: it draws in software.
	@# Its screens are kept to be looked at.
	@rm -rf .data/screens && mkdir -p .data/screens
	@exec bin/withdb $(GO) test -tags clients -timeout 20m ./api -run '^TestMap|^TestLandingPage' -artifacts -outputdir "$(CURDIR)/.data/screens"

bench: viewer ## measure import, ranking, edits, the service and the map page beside ogr2ogr, SQL and the floor (TREES=numbers), and planning
	@.ci/provision db test
	$(GO) run $(STAMP) ./cmd/bench -trees "$(TREES)"
	$(GO) test -run '^$$' -bench Solve ./inventory/programme

lint: ## go vet and staticcheck
	$(GO) vet -tags clients ./...
	$(GO) tool staticcheck -tags clients ./...

fmt: ## gofmt every file
	gofmt -w $$(git ls-files -co --exclude-standard '*.go')

clean: ## delete what was built, and the demo's data
	@for f in .data/*/cluster.location; do \
		[ -e "$$f" ] || continue; read -r home < "$$f"; \
		case $$home in $(CLUSTERS)/*/*|*..*) ;; $(CLUSTERS)/*) rm -rf "$$home" ;; esac; \
	done
	@# A server that has just lost its last user takes a moment to stop.
	rm -rf bin api/viewer/dist .data 2>/dev/null || { sleep 3; rm -rf bin api/viewer/dist .data; }
