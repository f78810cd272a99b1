#!/bin/sh
# The C tests and the R tests of the C entry points under valgrind: reads of what was never
# written, writes outside arrays, memory lost for good. Slow.
#   sh inst/scripts/dev/check-valgrind.sh
#   sh inst/scripts/dev/check-valgrind.sh c  the C tests only
#   SOFTANNEAL_FULL_CHECKS=true sh ...   more of the R tests
set -eu
top=$(cd "$(dirname "$0")/../../.." && pwd)
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
# not fit-archive: valgrind has no 80-bit numbers, with which R reads the last digit from text
names="glue kinetics"
[ "${SOFTANNEAL_FULL_CHECKS:-}" = true ] && names="glue kinetics scales history heat fit-least-squares plan-improve"
for name in $names; do cp "$top/tests/testthat/test-$name.R" "$work/tests/"; done
cp "$top"/tests/testthat/helper-*.R "$work/tests/"
# libraries of others lose some memory at exit: of losses only those with a frame of ours count
R_LIBS="$work/library" SOFTANNEAL_SOURCE= R -d "valgrind -q --error-exitcode=3 --leak-check=full \
    --errors-for-leak-kinds=none --log-file=$work/valgrind.log" --vanilla \
    -f "$top/inst/scripts/run-tests.R" --args "$work/tests"
if grep -q 'softanneal[.]so' "$work/valgrind.log"; then
    grep -B 12 -A 12 'softanneal[.]so' "$work/valgrind.log"
    exit 1
fi
echo "valgrind: nothing of this package."
