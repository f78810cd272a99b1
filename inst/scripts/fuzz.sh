#!/bin/sh
# Fuzzes the pure C files with libFuzzer under ASan and UBSan. A crash leaves its input in the
# folder named at the end.
#   sh inst/scripts/fuzz.sh [SECONDS]     20 s a target; SOFTANNEAL_FULL_CHECKS=true: 600 s
set -eu
top=$(cd "$(dirname "$0")/../.." && pwd)
seconds=${1:-20}
[ "${SOFTANNEAL_FULL_CHECKS:-}" = true ] && seconds=${1:-600}
if ! command -v clang >/dev/null 2>&1; then
    echo "Fuzzing left out: no clang."
    exit 0
fi
work=$(mktemp -d)
echo 'int LLVMFuzzerTestOneInput(const char *d, unsigned long n); int LLVMFuzzerTestOneInput(const char *d, unsigned long n) { return d && n ? 0 : 0; }' >"$work/probe.c"
if ! clang -fsanitize=fuzzer "$work/probe.c" -o "$work/probe" 2>/dev/null; then
    echo "Fuzzing left out: clang has no libFuzzer (Debian: libclang-rt-<version>-dev)."
    rm -rf "$work"
    exit 0
fi
pure=
for file in "$top"/src/*.c; do
    case $(basename "$file") in init.c | glue_*) ;; *) pure="$pure $file" ;; esac
done
for target in "$top"/tests/c/fuzz_*.c; do
    name=$(basename "$target" .c)
    # the list of files is split into words on purpose
    # shellcheck disable=SC2086
    clang -std=c99 -O1 -g -fsanitize=fuzzer,address,undefined -fno-sanitize-recover=undefined \
        -Wall -Wextra -I"$top/src" -I"$top/tests/c" -o "$work/$name" "$target" $pure -lm
    mkdir -p "$work/corpus-$name"
    echo "$name: $seconds s"
    (cd "$work" && "./$name" -max_total_time="$seconds" -max_len=512 -timeout=20 -print_final_stats=1 \
        "corpus-$name" >"$name.log" 2>&1) || {
        tail -n 40 "$work/$name.log"
        echo "$name failed; input and log are in $work" >&2
        exit 1
    }
    grep -E 'number_of_executed_units|new_units_added' "$work/$name.log"
done
rm -rf "$work"
echo "Fuzzing found nothing."
