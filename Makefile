# make run · make test · make bench · make gen      (see README.md)
.PHONY: audit release run test test-go test-wasm test-web test-e2e lint bench gen pictures wasm web build clean

GO ?= go
NODE ?= node

# The first number, then the app with an invented brewery in it.
run: web build
	@bin/ullage tpo -f examples/can.csv
	@echo
	@bin/ullage demo

build:
	@$(GO) build -trimpath -o bin/ullage ./cmd/ullage

# The fast ones first.
test: lint test-go test-wasm test-web test-e2e

lint:
	@test -z "$$(gofmt -l cmd core checks internal scripts web/*.go)" || { gofmt -l cmd core checks internal scripts web/*.go; echo "^ run gofmt"; exit 1; }
	$(GO) vet ./...
	GOOS=js GOARCH=wasm $(GO) vet ./cmd/wasm
	$(GO) tool staticcheck ./...

# With a PostgreSQL on the machine the stores are tested on both.
test-go:
	@if ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1; then \
		ULLAGE_REQUIRE_POSTGRES=1 scripts/postgres.sh $(GO) test ./...; \
	else \
		echo "no PostgreSQL here: its store is not tested"; $(GO) test ./...; \
	fi

test-wasm: wasm
	$(NODE) --test cmd/wasm/table.test.mjs

# The core for the browser, with the loader of this very compiler.
wasm:
	@mkdir -p web/static
	GOOS=js GOARCH=wasm $(GO) build -trimpath -ldflags='-s -w' -o web/static/core.wasm ./cmd/wasm
	@cp "$$($(GO) env GOROOT)/lib/wasm/wasm_exec.js" web/static/wasm_exec.js

web/node_modules: web/package-lock.json
	cd web && npm ci --no-audit --no-fund
	@touch web/node_modules

# The app, as the program embeds it.
web: wasm web/node_modules
	cd web && npm run build

test-web: wasm web/node_modules
	cd web && npm run check && npm test

# In a real browser, against the real program.
test-e2e: web build
	@if command -v chromium >/dev/null; then cd web && npm run e2e; \
	elif [ -n "$${CI:-}" ]; then echo "no chromium here"; exit 1; \
	else echo "no chromium here: the app is not walked through"; fi

# Speed is measured here, never in a test. A million rows through the built
# program are timed from outside, as a user would see them.
bench: build
	scripts/bench-cli.sh
	$(GO) test ./core/calc ./core/cellar ./core/uncertainty ./core/stats ./internal/... -run '^$$' -bench . -benchmem -timeout 60m
	$(GO) test ./core/verdict -run '^$$' -bench . -benchtime 1x -timeout 60m
	ULLAGE_LONG=1 $(GO) test -run TestKill ./internal/cli -timeout 30m
	scripts/fuzz.sh 60
	cd web && npm run bench && npm run size

# Every part of the program, as CycloneDX, and its known holes. Needs a network;
# without one it says NOT CHECKED.
audit: web/node_modules
	scripts/audit.sh

# Static files for every system, with checksums, in build/release.
release: web
	scripts/release.sh

# Everything generated that is committed.
gen: web/node_modules
	$(GO) test ./core/calc -run Agreement -update
	$(GO) test ./internal/api -run OpenAPI -update
	cd web && npm run gen

# The pictures of the README, from the demo.
pictures: web build
	@rm -rf ullage-demo && bin/ullage demo --build-only
	@bin/ullage demo --addr 127.0.0.1:8029 & server=$$!; sleep 2; \
		(cd web && ULLAGE_URL=http://127.0.0.1:8029 node_modules/.bin/node e2e/pictures.ts); kill $$server

clean:
	rm -rf bin web/static/core.wasm web/static/wasm_exec.js
