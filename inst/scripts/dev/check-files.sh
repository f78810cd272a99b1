#!/bin/sh
# Writing functions where the disk is full or the folder may not be written: a clear condition,
# and no half-written file. Run by hand: mounts a small tmpfs, so it needs root; the part for
# read-only folders runs as the user nobody.
#   sudo sh inst/scripts/dev/check-files.sh
set -eu
top=$(cd "$(dirname "$0")/../../.." && pwd)
. "$top/inst/scripts/setup.sh"
[ "$(id -u)" = 0 ] || {
    echo "Left out: root rights are needed to mount a small file system."
    exit 0
}
work=$(mktemp -d)
full="$work/full disk \303\244"
full=$(printf "$full")
mkdir -p "$full" "$work/locked"
trap 'umount "$full" 2>/dev/null || true; rm -rf "$work"' EXIT
install_copy "$top" "$work"
mount -t tmpfs -o size=4000k tmpfs "$full"
chmod 755 "$work"
chmod -R a+rX "$work/library"
chmod 555 "$work/locked"
cp "$top/inst/scripts/dev/check-files.R" "$work/check.R"
R_LIBS="$work/library" Rscript "$work/check.R" "$full" full
if command -v setpriv >/dev/null 2>&1; then
    R_LIBS="$work/library" setpriv --reuid=65534 --regid=65534 --clear-groups \
        Rscript "$work/check.R" "$work/locked" locked
fi
echo "Nothing half-written."
