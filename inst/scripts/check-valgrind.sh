#!/bin/sh
# The C tests and the R tests of the C entry points under valgrind: reads of what was never
# written, writes outside arrays, memory lost for good. Slow.
#   sh inst/scripts/check-valgrind.sh
#   sh inst/scripts/check-valgrind.sh c  the C tests only
#   SOFTANNEAL_FULL_CHECKS=true sh ...   more of the R tests
set -eu
top=$(cd "$(dirname "$0")/../.." && pwd)
. "$top/inst/scripts/setup.sh"
if ! command -v valgrind >/dev/null 2>&1; then
    echo "valgrind left out: it is not installed."
    exit 0
fi
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
strict="--error-exitcode=3 --leak-check=full --errors-for-leak-kinds=definite -q"
pure=
for file in "$top"/src/*.c; do
    case $(basename "$file") in init.c | glue_*) ;; *) pure="$pure $file" ;; esac
done
mkdir "$work/object"
for file in $pure; do
    gcc -std=c99 -g -O1 -I"$top/src" -c "$file" -o "$work/object/$(basename "$file" .c).o"
done
for test in "$top"/tests/c/test_*.c; do
    gcc -std=c99 -g -O1 -I"$top/src" -o "$work/test" "$test" "$work"/object/*.o -lm
    printf '%s: ' "$(basename "$test")"
    # lists of words on purpose
    # shellcheck disable=SC2086
    valgrind $strict "$work/test" >"$work/out" || {
        tail -n 30 "$work/out"
        exit 1
    }
    tail -n 1 "$work/out"
done
[ "${1:-}" = c ] && exit 0
install_copy "$top" "$work"
mkdir "$work/tests"
names="glue kinetics"
[ "${SOFTANNEAL_FULL_CHECKS:-}" = true ] && names="glue kinetics scales history heat fit-least-squares plan-improve fit-archive"
for name in $names; do cp "$top/tests/testthat/test-$name.R" "$work/tests/"; done
cp "$top"/tests/testthat/helper-*.R "$work/tests/"
R_LIBS="$work/library" SOFTANNEAL_SOURCE= R -d "valgrind $strict" --vanilla \
    -f "$top/inst/scripts/run-tests.R" --args "$work/tests"
