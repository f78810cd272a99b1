#!/bin/sh
# The main job on real input, from a fresh checkout: installs what is missing, builds and
# installs the package, fits the published tungsten readings and the readings of the invented
# workshop, and leaves tables, pictures and reports in out/.
#   sh inst/scripts/demo.sh
set -eu
here=$(cd "$(dirname "$0")" && pwd)
top=$(cd "$here/../.." && pwd)
. "$here/setup.sh"

need_basics
need_r knitr rmarkdown
need_program pandoc pandoc

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
echo "Building and installing softanneal ..."
tarball=$(build_package "$top" "$work")
library=$(Rscript --vanilla -e 'lib <- .libPaths()[1]
if (file.access(lib, 2) != 0) lib <- path.expand(Sys.getenv("R_LIBS_USER")); cat(lib)')
mkdir -p "$library"
R CMD INSTALL --library="$library" "$tarball" >"$work/install.log" 2>&1 || {
    cat "$work/install.log" >&2
    exit 1
}

data=$top/inst/extdata
Rscript "$here/main.R" "$data/tungsten_isothermal.csv" "$top/out/tungsten" \
    --model=recovery_jmak_incubation --specimen=plate --overwrite
Rscript "$here/main.R" "$data/bellbrass_readings.csv" "$top/out/bellbrass" --overwrite
echo
echo "Tables, pictures and reports are in $top/out"
