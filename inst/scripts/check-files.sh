#!/bin/sh
# Writing functions where the disk is full or the folder may not be written: a clear condition,
# and no half-written file. Run by hand: mounts a small tmpfs, so it needs root; the part for
# read-only folders runs as the user nobody.
#   sudo sh inst/scripts/check-files.sh
set -eu
top=$(cd "$(dirname "$0")/../.." && pwd)
[ "$(id -u)" = 0 ] || {
    echo "Left out: root rights are needed to mount a small file system."
    exit 0
}
work=$(mktemp -d)
full="$work/full disk \303\244"
full=$(printf "$full")
mkdir -p "$full" "$work/library" "$work/source" "$work/locked"
trap 'umount "$full" 2>/dev/null || true; rm -rf "$work"' EXIT
cp -r "$top/DESCRIPTION" "$top/NAMESPACE" "$top/R" "$top/src" "$top/inst" "$work/source/"
rm -f "$work"/source/src/*.o "$work"/source/src/*.so
R CMD INSTALL --no-docs --library="$work/library" "$work/source" >"$work/install.log" 2>&1 || {
    cat "$work/install.log" >&2
    exit 1
}
mount -t tmpfs -o size=40k tmpfs "$full"
chmod 755 "$work"
chmod -R a+rX "$work/library"
chmod 555 "$work/locked"
cat >"$work/check.R" <<'R'
library(softanneal)
folder <- commandArgs(TRUE)[1L]
class <- simulate_class(4, seed = 20, temp_c = c(290, 310, 330, 350, 370, 390, 410))
bench <- read_readings(system.file("extdata", "bellbrass_readings.csv", package = "softanneal"))
writers <- list(
  write_class = function(to) write_class(class, to, overwrite = TRUE),
  softening_report = function(to) softening_report(bench, to, overwrite = TRUE),
  lab_project = function(to) lab_project(file.path(to, "project")))
for (name in names(writers)) {
  before <- list.files(folder, recursive = TRUE)
  end <- tryCatch({ writers[[name]](folder); "written" },
                  softanneal_error_package = function(e) "left out",
                  softanneal_error_file = function(e) conditionMessage(e))
  after <- setdiff(list.files(folder, recursive = TRUE, all.files = TRUE), before)
  size <- file.size(file.path(folder, after))
  cat(name, ": ", end, "\n", sep = "")
  if (any(grepl("[.]new$", after)) || any(size == 0)) {
    stop(name, " left ", paste(after, size, collapse = ", "))
  }
  if (identical(end, "written")) stop(name, " says it has written where nothing fits")
  if (name == "write_class") {
    # every file there is whole
    for (file in file.path(folder, after)) invisible(read_readings(file))
  }
  unlink(file.path(folder, setdiff(list.files(folder), before)), recursive = TRUE)
}
R
dd if=/dev/zero of="$full/ballast" bs=1k count=20 2>/dev/null
R_LIBS="$work/library" Rscript "$work/check.R" "$full"
if command -v setpriv >/dev/null 2>&1; then
    R_LIBS="$work/library" setpriv --reuid=65534 --regid=65534 --clear-groups \
        Rscript "$work/check.R" "$work/locked"
fi
echo "Nothing half-written."
