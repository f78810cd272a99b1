#!/bin/sh
# All tests on the built and installed package, from a fresh checkout: installs what is
# missing, builds, installs into a library of its own, runs testthat. The last line says
# N passed, N failed, N skipped; the exit status is 0 only if none failed.
#   sh inst/scripts/test.sh
#   SOFTANNEAL_COVERAGE=FOLDER sh ...   counts in the same run the lines of R and C that the tests
#                                       reach and the conditions they raise (dev/coverage.R);
#                                       fails where these are too few
set -eu
here=$(cd "$(dirname "$0")" && pwd)
top=$(cd "$here/../.." && pwd)
. "$here/setup.sh"

need_for_tests

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
export SOFTANNEAL_SOURCE="$top" SOFTANNEAL_WORKER_TESTS=1
if [ -n "${SOFTANNEAL_COVERAGE:-}" ]; then
    if [ -f "$here/dev/coverage.R" ] && need_r covr && command -v gcov >/dev/null 2>&1; then
        mkdir -p "$SOFTANNEAL_COVERAGE" "$work/package"
        for part in DESCRIPTION NAMESPACE R man src inst; do
            cp -r "$top/$part" "$work/package/"
        done
        rm -f "$work"/package/src/*.o "$work"/package/src/*.so
        results=$(cd "$SOFTANNEAL_COVERAGE" && pwd)
        Rscript "$here/dev/coverage.R" "$top" "$work/package" "$results"
        tail -n 1 "$results/tests.log"
        exit 0
    fi
    echo "covr or gcov is not at hand: coverage is not counted."
fi
echo "Building and installing softanneal ..."
tarball=$(build_package "$top" "$work")
install_package "$tarball" "$work/library"
R_LIBS="$work/library${R_LIBS:+:$R_LIBS}" Rscript "$here/run-tests.R" "$top/tests/testthat"
