#!/bin/sh
# The site of the package, from a fresh checkout into out/site: help pages with their pictures,
# articles, news. Installs what is missing; then every link within the site is followed, and every
# page opened in a browser where one is at hand.
#   sh inst/scripts/dev/site.sh
set -eu
here=$(cd "$(dirname "$0")" && pwd)
top=$(cd "$here/../../.." && pwd)
. "$top/inst/scripts/setup.sh"

need_basics
need_program pandoc pandoc
need_r knitr rmarkdown pkgdown

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
echo "Building and installing softanneal ..."
tarball=$(build_package "$top" "$work")
install_package "$tarball" "$work/library"
# from the sources as packed; the tutorials run on the user's machine, none is published
tar -xzf "$tarball" -C "$work"
rm -rf "$work/softanneal/inst/tutorials"
echo "Building the site ..."
R_LIBS="$work/library${R_LIBS:+:$R_LIBS}" \
    Rscript "$here/site.R" "$work/softanneal" "$top/out/site" >"$work/site.log" 2>&1 || {
    cat "$work/site.log" >&2
    exit 1
}
Rscript --vanilla "$here/site-links.R" "$top/out/site"
sh "$here/site-browser.sh" "$top/out/site"
echo "The site is in $top/out/site/index.html"
