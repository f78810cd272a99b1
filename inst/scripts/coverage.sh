#!/bin/sh
# Coverage of R and C by the tests, and the proof that each condition is raised by one: needs
# the package covr, and gcov, which comes with gcc. Takes about 20 minutes.
#   sh inst/scripts/coverage.sh [FOLDER]     FOLDER keeps the tables lines.csv, conditions.csv
# Ends with an error where R or C is below 95 %, a condition is raised by no test, or a test fails.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
top=$(cd "$here/../.." && pwd)
. "$here/setup.sh"
need_basics
need_r testthat withr covr
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
results=${1:-$work/results}
mkdir -p "$work/package" "$results"
results=$(cd "$results" && pwd)
for part in DESCRIPTION NAMESPACE R src inst tests; do cp -r "$top/$part" "$work/package/"; done
rm -f "$work"/package/src/*.o "$work"/package/src/*.so
Rscript "$here/coverage.R" "$top" "$work/package" "$results"
