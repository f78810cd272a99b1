#!/bin/sh
# Fuzzes the pure C files with libFuzzer under ASan and UBSan, from the seeds in tests/c/corpus.
# A crash leaves its input in the folder named at the end.
#   sh inst/scripts/dev/fuzz.sh [SECONDS [TARGET...]]   5 s a target; SOFTANNEAL_FULL_CHECKS=true: 600 s
#   sh inst/scripts/dev/fuzz.sh merge FOLDER TARGET     the seeds anew from the inputs in FOLDER: the
#                                                   smallest that reach all that these reach
set -eu
top=$(cd "$(dirname "$0")/../../.." && pwd)
seconds=${1:-5}
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
folder=
if [ "$seconds" = merge ]; then
    folder=$(cd "$2" && pwd)
    shift
fi
[ $# -gt 0 ] && shift
targets=$*
[ -n "$targets" ] || targets=$(cd "$top/tests/c" && ls fuzz_*.c | sed 's/^fuzz_//; s/[.]c$//')

flags="-std=c99 -O1 -g -fsanitize=address,undefined -fno-sanitize-recover=undefined -Wall -Wextra"
mkdir "$work/object"
for file in "$top"/src/*.c; do
    case $(basename "$file") in init.c | glue_*) continue ;; esac
    # lists of words on purpose, here and below
    # shellcheck disable=SC2086
    clang $flags -fsanitize=fuzzer-no-link -I"$top/src" -c "$file" \
        -o "$work/object/$(basename "$file" .c).o"
done
for name in $targets; do
    # shellcheck disable=SC2086
    clang $flags -fsanitize=fuzzer -I"$top/src" -I"$top/tests/c" -o "$work/fuzz_$name" \
        "$top/tests/c/fuzz_$name.c" "$work"/object/*.o -lm
    seeds=$top/tests/c/corpus/$name
    if [ -n "$folder" ]; then
        mkdir -p "$seeds" "$work/least"
        "$work/fuzz_$name" -merge=1 -use_counters=0 -max_len=1024 -timeout=200 "$work/least" "$folder" "$seeds" \
            >"$work/$name.log" 2>&1
        rm -f "$seeds"/*
        cp "$work"/least/* "$seeds/"
        echo "$name: $(ls "$seeds" | wc -l) seeds"
        continue
    fi
    mkdir -p "$work/corpus-$name"
    [ -d "$seeds" ] || seeds=
    echo "$name: $seconds s"
    # no limit of time for one input that a busy machine could break
    (cd "$work" && "./fuzz_$name" -max_total_time="$seconds" -max_len=1024 -timeout=200 \
        -print_final_stats=1 "corpus-$name" $seeds >"$name.log" 2>&1) || {
        tail -n 40 "$work/$name.log"
        echo "$name failed; input and log are in $work" >&2
        exit 1
    }
    grep -E 'number_of_executed_units|new_units_added' "$work/$name.log"
done
rm -rf "$work"
[ -n "$folder" ] || echo "Fuzzing found nothing."
