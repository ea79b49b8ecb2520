# make check is what CI runs; the rest is for people.

GO          ?= go
STATICCHECK ?= honnef.co/go/tools/cmd/staticcheck@v0.8.2
VERSION     ?= $(shell git describe --tags --always --dirty 2>/dev/null || echo devel)
FLAGS       := -trimpath -buildvcs=false -ldflags "-s -w -X main.version=$(VERSION)"

# The race detector needs a C compiler; without one the tests run plain.
RACE := $(shell command -v $$($(GO) env CC) >/dev/null 2>&1 && [ "$$($(GO) env CGO_ENABLED)" = 1 ] && echo -race)

# The page's own checks need Node; without it they are left out, and named so.
PAGE := internal/web/page

.PHONY: build test check page bench deskbench accuracy accuracy-quick shoots torment demo cross man clean

build:
	CGO_ENABLED=0 $(GO) build $(FLAGS) -o earshot ./cmd/earshot

test:
	$(GO) test ./...

check:
	@unformatted=$$(gofmt -l $$(find . -name '*.go' -not -path './dist/*' -not -path '*/node_modules/*')); \
	if [ -n "$$unformatted" ]; then echo "not as gofmt writes it:"; echo "$$unformatted"; exit 1; fi
	$(GO) vet ./...
	$(GO) run $(STATICCHECK) ./...
	@$(MAKE) --no-print-directory page
	@[ -n "$(RACE)" ] || echo "no C compiler: testing without the race detector"
	$(GO) test $(RACE) -timeout 60m ./...
	$(GO) run ./cmd/accuracy -quick

page:
	@if command -v npm >/dev/null 2>&1; then \
		cd $(PAGE) && npm ci --silent --no-audit --no-fund --ignore-scripts && npx --no-install tsc --project . && node --test test/*.test.js; \
	elif [ -n "$$EARSHOT_REFERENCE" ]; then echo "npm is missing: the page cannot be checked"; exit 1; \
	else echo "no npm: the page is not checked"; fi

bench:
	$(GO) run ./cmd/bench

deskbench:
	$(GO) run ./cmd/deskbench

accuracy:
	$(GO) run ./cmd/accuracy -couples 20

accuracy-quick:
	$(GO) run ./cmd/accuracy -quick

shoots:
	$(GO) run ./cmd/yardstick

torment:
	$(GO) run ./cmd/torment

demo: build
	./earshot demo

cross:
	@set -e; for os in linux darwin windows; do for arch in amd64 arm64; do \
		end=; [ $$os = windows ] && end=.exe; \
		echo "dist/earshot-$$os-$$arch$$end"; \
		CGO_ENABLED=0 GOOS=$$os GOARCH=$$arch $(GO) build $(FLAGS) -o dist/earshot-$$os-$$arch$$end ./cmd/earshot; \
	done; done
	cp LICENSE NOTICE dist/

man:
	$(GO) run ./cmd/earshot man dist/man

clean:
	rm -rf earshot dist earshot-demo married
