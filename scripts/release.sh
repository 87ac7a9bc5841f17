#!/bin/sh
# Builds the program for every system into build/release, each one static file,
# with checksums, the list of parts and what an operator needs beside it. The
# same tree and compiler give the same bytes. "make web" comes first.
#   scripts/release.sh [os/arch ...]
set -eu
cd "$(dirname "$0")/.."
[ -f web/dist/app/index.html ] || { echo "no web app in web/dist: make web" >&2; exit 2; }
out=build/release
rm -rf "$out"; mkdir -p "$out"
version=$(go run ./cmd/ullage version | cut -d' ' -f2)
[ $# -gt 0 ] || set -- linux/amd64 linux/arm64 darwin/amd64 darwin/arm64 windows/amd64 windows/arm64
for target; do
	os=${target%/*} arch=${target#*/} end=
	[ "$os" = windows ] && end=.exe
	file=$out/ullage_${version}_${os}_$arch$end
	CGO_ENABLED=0 GOOS=$os GOARCH=$arch go build -trimpath -buildvcs=false -ldflags='-s -w -buildid=' -o "$file" ./cmd/ullage
	echo "$file $(wc -c < "$file") bytes"
	last=$file
done
go run ./scripts/sbom "$last" web/package-lock.json > "$out/sbom.cdx.json"
cp deploy/ullage.service deploy/Dockerfile docs/operating.md "$out"
(cd "$out" && sha256sum -- * > SHA256SUMS)
echo "check with: cd $out && sha256sum -c SHA256SUMS"
