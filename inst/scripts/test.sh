#!/bin/sh
# All tests on the built and installed package, from a fresh checkout: installs what is
# missing, builds, installs into a library of its own, runs testthat. The last line says
# N passed, N failed, N skipped; the exit status is 0 only if none failed.
#   sh inst/scripts/test.sh
set -eu
here=$(cd "$(dirname "$0")" && pwd)
top=$(cd "$here/../.." && pwd)
. "$here/setup.sh"

need_basics
need_r testthat withr knitr rmarkdown
need_program pandoc pandoc
# reference libraries and formats: a test that needs one is skipped where it cannot be had
for package in minpack.lm nlme lme4 boot numDeriv deSolve Rmpfr broom tibble dplyr units data.table readxl sandwich \
    survival htmltools rstudioapi writexl yaml DBI RSQLite future future.apply progressr nanoparquet; do
    need_r $package || echo "Going on without $package; its tests are skipped."
done

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
echo "Building and installing softanneal ..."
tarball=$(build_package "$top" "$work")
install_package "$tarball" "$work/library"
R_LIBS="$work/library${R_LIBS:+:$R_LIBS}" SOFTANNEAL_SOURCE="$top" SOFTANNEAL_WORKER_TESTS=1 \
    Rscript "$here/run-tests.R" "$top/tests/testthat"
