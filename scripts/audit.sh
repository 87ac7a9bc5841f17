#!/bin/sh
# What the program consists of, and which known holes it has:
#   build/sbom.cdx.json   every part, as CycloneDX
#   govulncheck           holes of Go parts that the code reaches
#   npm audit             holes of the web app's parts
# Both ask a service. Without a network this says NOT CHECKED; with STRICT=1
# that fails.
set -u
cd "$(dirname "$0")/.."
mkdir -p build
go build -trimpath -o bin/ullage ./cmd/ullage || exit 1
go run ./scripts/sbom bin/ullage web/package-lock.json > build/sbom.cdx.json || exit 1
echo "build/sbom.cdx.json: $(grep -c '"bom-ref"' build/sbom.cdx.json) parts"
bad=0 blind=0
# check NAME COMMAND...: 0 nothing found, 3 something found, else it could not ask.
check() {
	name=$1; shift
	if out=$("$@" 2>&1); then
		echo "$name: nothing known"
	elif printf '%s' "$out" | grep -qE 'Vulnerability #[0-9]|GHSA-|[1-9][0-9]* (low|moderate|high|critical)'; then
		printf '%s\n' "$out"
		echo "$name: FOUND, see above"; bad=1
	else
		printf '%s\n' "$out" | tail -3
		echo "$name: NOT CHECKED, it could not ask"; blind=1
	fi
}
check govulncheck go run golang.org/x/vuln/cmd/govulncheck@latest ./...
check "npm audit" sh -c 'cd web && npm audit --audit-level=low'
[ $bad = 0 ] || exit 1
[ $blind = 0 ] || [ -z "${STRICT:-}" ] || exit 3
