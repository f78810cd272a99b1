#!/bin/sh
# Coverage of R and C by the tests, by the package covr (needs gcov, which comes with gcc).
#   sh inst/scripts/coverage.sh
set -eu
here=$(cd "$(dirname "$0")" && pwd)
top=$(cd "$here/../.." && pwd)
. "$here/setup.sh"
need_basics
need_r testthat withr covr
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
mkdir "$work/package"
cp -r "$top/DESCRIPTION" "$top/NAMESPACE" "$top/R" "$top/src" "$top/inst" "$top/tests" "$work/package/"
rm -f "$work"/package/src/*.o "$work"/package/src/*.so
cd "$work/package"
SOFTANNEAL_SOURCE="$top" Rscript -e '
  done <- covr::package_coverage(".", type = "none", quiet = TRUE,
    code = "testthat::test_dir(\"tests/testthat\", package = \"softanneal\", load_package = \"installed\", reporter = \"minimal\", stop_on_failure = FALSE)")
  lines <- covr::tally_coverage(done, by = "line")
  kind <- ifelse(grepl("^src/", lines$filename), "C", "R")
  share <- function(x) round(100 * mean(x > 0), 1)
  print(tapply(lines$value, kind, share))
  each <- sort(tapply(lines$value, lines$filename, share))
  cat("\nFiles below 90 %:\n")
  print(each[each < 90])
  open <- lines[lines$value == 0, ]
  cat("\nLines never run, by file:\n")
  print(tapply(open$line, open$filename, function(x) paste(x, collapse = " ")))'
