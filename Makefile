# `make` lists the targets. Everything is built without a C compiler; only the
# race detector needs one.
export CGO_ENABLED = 0
TOOL     = go tool -modfile=.ci/tools.mod
FUZZTIME = 10s
ROUNDS   = 100
# Where goroutines meet; the whole of these packages takes a race detector an hour.
RACE     = Writer|Concurrent|Meanwhile|Chain|CalcLife|Uploads|Serve|ApplyOnce|ManyAtOnce|Limits
SYSTEMS  = linux/amd64 linux/arm64 darwin/arm64 windows/amd64

help: ## list the targets
	@sed -n 's/^\([a-z]*\):.*## /\1\t/p' Makefile | expand -t 12

run: ## the demo fleet on 127.0.0.1; prints the address
	go run ./cmd/hoseward serve --demo

test: ## all tests; says what was skipped and how to have it
	@go run ./internal/testkit/report ./...

bench: ## speed, as ratios with the absolute figures beside them
	go test -run '^$$' -bench . -benchmem ./...

fuzz: ## every parser for FUZZTIME each
	@grep -rho --include='*_test.go' '^func Fuzz[A-Za-z0-9_]*' . | sort -u | while read -r _ f; do \
	  for d in $$(grep -rl --include='*_test.go' "^func $$f(" . | xargs -n1 dirname | sort -u); do \
	    echo "$$f in $$d"; go test -run '^$$' -fuzz "^$$f$$" -fuzztime $(FUZZTIME) $$d || exit 1; done; done

lint: ## format, vet, staticcheck
	@f=$$($(TOOL) gofumpt -l .); test -z "$$f" || { echo "not formatted, run gofumpt -w: $$f"; exit 1; }
	go vet ./...
	$(TOOL) staticcheck ./...

update: ## write the golden files of tests anew; look at the difference
	@grep -rho --include='*_test.go' 'flag.Bool("update[a-z-]*"' . | cut -d'"' -f2 | sort -u | while read -r f; do \
	  go test $$(grep -rl --include='*_test.go' "flag.Bool(\"$$f\"" . | xargs -n1 dirname | sort -u) "-$$f" || exit 1; done

migration: ## name=add_x: the next number for both engines
	@test -n "$(name)" || { echo "say which: make migration name=add_x"; exit 1; }
	@n=$$(printf %04d $$(($$(ls migrations/sqlite/*.sql | wc -l) + 1))); for e in sqlite postgres; do \
	  printf -- '-- +goose Up\n\n-- +goose Down\n' | tee migrations/$$e/$${n}_$(name).sql >/dev/null; echo migrations/$$e/$${n}_$(name).sql; done

release: ## programs for all systems, with checksums, in dist
	@mkdir -p dist; for s in $(SYSTEMS); do echo $$s; GOOS=$${s%/*} GOARCH=$${s#*/} \
	  go build -trimpath -ldflags '-s -w' -o dist/hoseward-$${s%/*}-$${s#*/} ./cmd/hoseward || exit 1; done
	@cd dist && sha256sum hoseward-* > SHA256SUMS

faults: ## kill, cut off, fill up: ROUNDS of each, which takes an hour
	HOSEWARD_FAULTS=$(ROUNDS) go test -count 1 -run Faults -timeout 4h -v ./cmd/hoseward

race: ## the race detector where goroutines meet; needs gcc
	CGO_ENABLED=1 go test -race ./jobs ./internal/files ./internal/config ./internal/backup ./web
	CGO_ENABLED=1 go test -race -run '$(RACE)' ./internal/store ./internal/exchange ./internal/server ./cmd/hoseward

check: lint test race ## what CI runs

.PHONY: help run test bench fuzz lint update migration release race faults check
