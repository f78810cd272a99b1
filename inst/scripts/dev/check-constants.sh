#!/bin/sh
# The R tests without compilation of R code and with R's own check that no constant is changed:
# compiled code that writes into an argument would change a literal of the caller (Writing R
# Extensions, 5.9.10; R_CHECK_CONSTANTS in the notes on the byte-code compiler).
#   sh inst/scripts/dev/check-constants.sh                   the tests of the entry points
#   SOFTANNEAL_FULL_CHECKS=true sh ...                   all R tests
set -eu
top=$(cd "$(dirname "$0")/../../.." && pwd)
. "$top/inst/scripts/setup.sh"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
install_copy "$top" "$work"
mkdir "$work/tests"
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
