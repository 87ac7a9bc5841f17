#!/bin/sh
# One round of fuzzing: every fuzz target of the tree in turn, sharing 60 s (or
# the seconds given). What fails is kept by Go under testdata/fuzz of its package,
# and the round goes on and ends with 1: mend it and commit the input. The seeds
# kept there are run by every "go test".
#   scripts/fuzz.sh [seconds]
set -eu
cd "$(dirname "$0")/.."
targets=$(grep -rho --include='*_test.go' '^func Fuzz[A-Za-z0-9_]*' core internal checks 2>/dev/null | wc -l)
[ "$targets" -gt 0 ] || { echo "no fuzz target" >&2; exit 2; }
each=$(( (${1:-60} + targets - 1) / targets ))
echo "$targets targets, $each s each"
out=$(mktemp) failed=0
trap 'rm -f "$out"' EXIT
for dir in $(grep -rl --include='*_test.go' '^func Fuzz' core internal checks 2>/dev/null | xargs -n1 dirname | sort -u); do
	for name in $(grep -ho '^func Fuzz[A-Za-z0-9_]*' "$dir"/*_test.go | cut -d' ' -f2 | sort -u); do
		echo "$dir $name"
		if go test "./$dir" -run '^$' -fuzz "^$name\$" -fuzztime "${each}s" -fuzzminimizetime 20x -parallel 2 > "$out" 2>&1; then
			tail -1 "$out"
		else
			cat "$out"; failed=1
		fi
	done
done
exit $failed
