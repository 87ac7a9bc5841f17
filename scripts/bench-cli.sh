#!/bin/sh
# Times the built program from outside: a million rows, and a cold start.
set -eu
dir=$(mktemp -d "${TMPDIR:-/tmp}/ullage-bench.XXXXXX")
trap 'rm -rf "$dir"' EXIT
awk 'BEGIN { srand(1); print "id,temperature_c,gross_g,tare_g,capacity_ml,sg,shaken_do_ppb"
	for (i = 0; i < 1000000; i++) printf "P%d,%.1f,%.1f,13.4,373.5,1.010,%.1f\n", i, 2+20*rand(), 369+6*rand(), 20+60*rand() }' >"$dir/rows.csv"
for i in 1 2 3; do
	python3 - "$dir" <<'PY'
import resource, subprocess, sys, time
start = time.time()
subprocess.run(["bin/ullage", "tpo", "-f", sys.argv[1] + "/rows.csv", "--format", "csv"], stdout=open(sys.argv[1] + "/out.csv", "w"), check=True)
wall, use = time.time() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
print(f"1,000,000 rows with first-order uncertainty: {wall:.2f} s wall, {use.ru_utime + use.ru_stime:.2f} s of cores, {use.ru_maxrss / 1024:.0f} MB")
PY
done
python3 - <<'PY'
import subprocess, time
best = min(( lambda t: (subprocess.run(["bin/ullage", "version"], stdout=subprocess.DEVNULL, check=True), time.time() - t)[1])(time.time()) for _ in range(20))
print(f"cold start of the command line: {best * 1000:.1f} ms (best of 20)")
PY
