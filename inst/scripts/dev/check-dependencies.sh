#!/bin/sh
# R CMD check with no other packages in sight than those the package declares: once with Depends
# and Imports alone (and testthat, which runs the tests), once with Suggests too. What needs a
# suggested package must say so, be skipped, or do without.
#   sh inst/scripts/dev/check-dependencies.sh [depends|suggests] [FOLDER]
# FOLDER keeps the logs. Of the tests those files run that say something of a suggested package, of
# the sources or of a reason to skip: only these can go another way here than in test.sh; all of
# them with SOFTANNEAL_FULL_CHECKS=true. Vignettes are left out: R CMD check of the built package
# runs them.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
top=$(cd "$here/../../.." && pwd)
. "$top/inst/scripts/setup.sh"
need_basics
need_r testthat withr
which=${1:-both}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
results=${2:-$work}
mkdir -p "$results"
results=$(cd "$results" && pwd)
tarball=$(build_package "$top" "$work")
failed=0

if [ "${SOFTANNEAL_FULL_CHECKS:-}" != true ]; then
    suggested=$(Rscript --vanilla -e 'x <- read.dcf(commandArgs(TRUE), "Suggests")
        x <- trimws(sub("[(].*", "", strsplit(x, ",")[[1L]]))
        cat(paste0(setdiff(x, c("testthat", "withr")), "::"), sep = "|")' "$top/DESCRIPTION")
    files=$(cd "$top/tests/testthat" &&
        for file in test-*.R; do
            ! grep -v skip_on_cran "$file" |
                grep -qE "skip_|requireNamespace|package_file|SOFTANNEAL_|$suggested" || echo "$file"
        done |
        sed 's/^test-//; s/[.]R$//' | paste -s -d '|' -)
    export SOFTANNEAL_TEST_FILTER="^($files)\$"
    echo "Tests: $files" | fold -s -w 100
fi

# check NAME VARIABLE OPTION...
check() {
    name=$1
    variable=$2
    shift 2
    mkdir -p "$results/$name"
    env "$variable=true" NOT_CRAN=true _R_CHECK_FORCE_SUGGESTS_=false R CMD check --no-manual "$@" \
        --output="$results/$name" "$tarball" >"$results/$name/check.txt" 2>&1 || true
    log="$results/$name/softanneal.Rcheck/00check.log"
    tests="$results/$name/softanneal.Rcheck/tests/testthat.Rout"
    [ -f "$tests" ] || tests="$tests.fail"
    summary=$(grep -h '^\[ FAIL' "$tests" 2>/dev/null | tail -n 1)
    status=$(tail -n 1 "$log" 2>/dev/null || echo "no log")
    echo "$name only: $summary $status"
    if ! grep -q '^Status:' "$log" || grep -qE '^Status:.*(ERROR|WARNING)' "$log"; then
        grep -E -A 12 '(ERROR|WARNING)$' "$log" || true
        failed=1
    fi
}
[ "$which" = suggests ] || check depends _R_CHECK_DEPENDS_ONLY_ --ignore-vignettes
[ "$which" = depends ] || check suggests _R_CHECK_SUGGESTS_ONLY_ --ignore-vignettes
exit $failed
