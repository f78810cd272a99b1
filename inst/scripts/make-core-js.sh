#!/bin/sh
# Makes inst/pages/core.js, the compiled code of src/ as JavaScript text for pages that need no R: all
# pure C files and the glue of the entry points a page uses, with core/entry.c and core/sexp.h in place
# of R. Needs emscripten, which is installed where it is missing (Debian). The text holds no binary,
# asks for no file and no network, and makes no code while it runs, so that it works under a strict
# Content-Security-Policy. Threads compile away: OpenMP is not asked for.
#   sh inst/scripts/make-core-js.sh [FILE]
set -eu
here=$(cd "$(dirname "$0")" && pwd)
top=$(cd "$here/../.." && pwd)
. "$here/setup.sh"
out=${1:-$top/inst/pages/core.js}
need_program emcc emscripten
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# emscripten's optimiser finds Debian's node modules here
[ -d /usr/share/nodejs ] && export NODE_PATH=/usr/share/nodejs

mkdir -p "$work/include/R_ext"
for header in R.h Rinternals.h Rmath.h R_ext/Rdynload.h; do
    echo '#include "sexp.h"' >"$work/include/$header"
done
files=
for file in "$top"/src/*.c; do
    case $(basename "$file") in
    # of R alone: many fits, threads, fingerprints, posteriors
    init.c | glue_batch.c | glue_threads.c | glue_hash.c | glue_posterior.c | posterior.c | glue_next.c | posterior_next.c | sampler.c | glue_pool.c | pool.c) ;;
    *) files="$files $file" ;;
    esac
done

# numbers as compilers for R make them: no reordering, no fused operations
# shellcheck disable=SC2086
emcc -std=gnu11 -Os -ffp-contract=off -I"$work/include" -I"$here/core" -I"$top/src" $files \
    "$here/core/entry.c" -o "$work/core.js" -s WASM=0 -s SINGLE_FILE=1 -s MODULARIZE=1 \
    -s EXPORT_NAME=SoftannealCore -s ENVIRONMENT=web -s FILESYSTEM=0 -s DYNAMIC_EXECUTION=0 \
    -s ALLOW_MEMORY_GROWTH=1 -s INITIAL_MEMORY=16777216 -s TOTAL_STACK=2097152 -s STRICT=1 \
    -s INCOMING_MODULE_JS_API='[]' -s EXPORTED_RUNTIME_METHODS='["UTF8ToString","stackSave","stackRestore"]' \
    --memory-init-file 0 --no-entry -s ERROR_ON_UNDEFINED_SYMBOLS=1

{
    echo "/*! softanneal: the compiled code of the package for a browser. Made by inst/scripts/make-core-js.sh"
    echo " *  from src/ and inst/scripts/core of the package softanneal with emscripten; do not edit."
    echo " *"
    echo " *  softanneal: MIT licence, Copyright (c) $(sed -n 's/^YEAR: //p' "$top/LICENSE") $(sed -n 's/^COPYRIGHT HOLDER: //p' "$top/LICENSE")."
    echo " *  Parts from emscripten: MIT licence, Copyright (c) 2010-2014 Emscripten authors; and from its C"
    echo " *  library musl: MIT licence, Copyright (c) 2005-2020 Rich Felker and others."
    echo " *"
    sed 's/^/ *  /; s/ *$//' "$here/core/mit.txt"
    echo " */"
    cat "$work/core.js"
} >"$work/whole.js"
mkdir -p "$(dirname "$out")"
mv "$work/whole.js" "$out"
echo "$out: $(wc -c <"$out" | tr -d ' ') bytes"
