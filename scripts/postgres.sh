#!/bin/sh
# Starts a throw-away PostgreSQL, runs a command with ULLAGE_TEST_POSTGRES set,
# and stops it. Nothing is left behind.
#   scripts/postgres.sh go test ./internal/store
# Uses the newest server below /usr/lib/postgresql (Debian: postgresql-15), or
# the folder in PG_BIN. PostgreSQL refuses to run as root: then it runs as the
# user postgres.
set -eu
bin=${PG_BIN:-}
for dir in /usr/lib/postgresql/*/bin; do
	[ -n "${PG_BIN:-}" ] || [ ! -x "$dir/initdb" ] || bin=$dir
done
if [ -z "$bin" ] || [ ! -x "$bin/initdb" ]; then
	echo "no PostgreSQL server found; on Debian: apt-get install postgresql-15" >&2
	exit 2
fi
dir=$(mktemp -d "${TMPDIR:-/tmp}/ullage-pg.XXXXXX")
as() { "$@"; }
if [ "$(id -u)" = 0 ]; then
	chown postgres "$dir"
	as() { su postgres -s /bin/sh -c "$(printf "'%s' " "$@")"; }
fi
cleanup() {
	as "$bin/pg_ctl" -D "$dir/data" -m immediate -s stop >/dev/null 2>&1 || true
	rm -rf "$dir"
}
trap cleanup EXIT
trap 'exit 130' INT TERM
cd "$dir"
as "$bin/initdb" -D "$dir/data" -U ullage -A trust -E UTF8 --no-locale >"$dir/log" 2>&1 || { cat "$dir/log" >&2; exit 2; }
# Only a socket in our own folder: no port is taken, nothing is reachable.
as "$bin/pg_ctl" -D "$dir/data" -l "$dir/server.log" -s -w -o "-c listen_addresses='' -k $dir" start ||
	{ cat "$dir/server.log" >&2; exit 2; }
cd "$OLDPWD"
ULLAGE_TEST_POSTGRES="postgres://ullage@/postgres?host=$dir" "$@"
