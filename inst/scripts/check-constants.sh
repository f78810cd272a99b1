#!/bin/sh
# The R tests without compilation of R code and with R's own check that no constant is changed:
# compiled code that writes into an argument would change a literal of the caller (Writing R
# Extensions, 5.9.10; R_CHECK_CONSTANTS in the notes on the byte-code compiler).
#   sh inst/scripts/check-constants.sh                   the tests of the entry points
#   SOFTANNEAL_FULL_CHECKS=true sh ...                   all R tests
set -eu
top=$(cd "$(dirname "$0")/../.." && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
mkdir "$work/library" "$work/source" "$work/tests"
cp -r "$top/DESCRIPTION" "$top/NAMESPACE" "$top/R" "$top/src" "$top/inst" "$work/source/"
rm -f "$work"/source/src/*.o "$work"/source/src/*.so
R CMD INSTALL --no-test-load --no-docs --library="$work/library" "$work/source" \
    >"$work/install.log" 2>&1 || {
    cat "$work/install.log" >&2
    exit 1
}
if [ "${SOFTANNEAL_FULL_CHECKS:-}" = true ]; then
    tests=$top/tests/testthat
else
    tests=$work/tests
    for name in kinetics scales history fit fit-least-squares fit-each heat plan-improve; do
        cp "$top/tests/testthat/test-$name.R" "$tests/"
    done
    cp "$top"/tests/testthat/helper-*.R "$tests/"
fi
R_CHECK_CONSTANTS=5 R_JIT_ENABLED=0 R_LIBS="$work/library" SOFTANNEAL_SOURCE= \
    Rscript "$top/inst/scripts/run-tests.R" "$tests"
