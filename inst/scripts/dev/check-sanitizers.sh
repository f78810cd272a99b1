#!/bin/sh
# The C tests and the R tests under AddressSanitizer and UndefinedBehaviorSanitizer of gcc.
#   sh inst/scripts/dev/check-sanitizers.sh        the C tests and the R tests of the C entry points
#   SOFTANNEAL_FULL_CHECKS=true sh ...         all R tests
#   sh inst/scripts/dev/check-sanitizers.sh c      the C tests only
#   sh inst/scripts/dev/check-sanitizers.sh r      few R tests only
#   sh inst/scripts/dev/check-sanitizers.sh calls [TRIES] [FIRST]   mutated calls of the C entry points (100000)
set -eu
top=$(cd "$(dirname "$0")/../../.." && pwd)
. "$top/inst/scripts/setup.sh"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
flags="-g -O1 -fno-omit-frame-pointer -fsanitize=address,undefined -fno-sanitize-recover=undefined"
if ! echo 'int main(void) { return 0; }' | gcc -x c $flags -o "$work/probe" - 2>/dev/null; then
    echo "Sanitizers left out: gcc has none here."
    exit 0
fi

if [ "${1:-}" != r ] && [ "${1:-}" != calls ]; then
    pure=
    for file in "$top"/src/*.c; do
        case $(basename "$file") in init.c | glue_*) ;; *) pure="$pure $file" ;; esac
    done
    mkdir "$work/object"
    for file in $pure; do
        # lists of words on purpose
        # shellcheck disable=SC2086
        gcc -std=c99 -Wall -Wextra $flags -I"$top/src" -c "$file" \
            -o "$work/object/$(basename "$file" .c).o"
    done
    for test in "$top"/tests/c/test_*.c; do
        # shellcheck disable=SC2086
        gcc -std=c99 -Wall -Wextra $flags -I"$top/src" -o "$work/test" "$test" "$work"/object/*.o -lm
        printf '%s: ' "$(basename "$test")"
        "$work/test" >"$work/test.out" || {
            tail -n 30 "$work/test.out"
            exit 1
        }
        tail -n 1 "$work/test.out"
    done
fi
[ "${1:-}" = c ] && exit 0

# The package with the sanitizers in its shared object; R itself has none, so they are
# preloaded. R leaks at exit by design.
cat >"$work/Makevars" <<MAKE
CFLAGS = $flags -std=gnu99
LDFLAGS = -fsanitize=address,undefined
MAKE
(
    export R_MAKEVARS_USER="$work/Makevars"
    install_copy "$top" "$work"
)
run_sanitized() {
    LD_PRELOAD="$(gcc -print-file-name=libasan.so) $(gcc -print-file-name=libubsan.so)" \
        ASAN_OPTIONS=detect_leaks=0:allocator_may_return_null=1 UBSAN_OPTIONS=print_stacktrace=1 R_LIBS="$work/library" \
        _R_CHECK_LENGTH_1_CONDITION_=true "$@"
}
if [ "${1:-}" = calls ]; then
    cd "$top"
    run_sanitized Rscript inst/scripts/dev/check-calls.R sweep
    run_sanitized Rscript inst/scripts/dev/check-calls.R "${2:-100000}" "${3:-1}"
elif [ "${SOFTANNEAL_FULL_CHECKS:-}" = true ]; then
    SOFTANNEAL_SOURCE= run_sanitized Rscript "$top/inst/scripts/run-tests.R" "$top/tests/testthat"
else
    mkdir "$work/tests"
    names="kinetics scales history fit fit-least-squares heat glue"
    [ "${1:-}" = r ] && names="kinetics scales-numbers heat fit-least-squares plan-improve"
    for name in $names; do
        cp "$top/tests/testthat/test-$name.R" "$work/tests/"
    done
    cp "$top"/tests/testthat/helper-*.R "$work/tests/"
    SOFTANNEAL_SOURCE= run_sanitized Rscript "$top/inst/scripts/run-tests.R" "$work/tests"
fi
