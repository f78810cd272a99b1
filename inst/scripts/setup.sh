# Sourced by demo.sh and test.sh: finds or installs what they need, on a bare Debian or where
# R is already at hand. Debian packages where they exist (they come built), CRAN otherwise.
# Installs nothing that is already there.

as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"; elif command -v sudo >/dev/null 2>&1; then sudo "$@"; else
        echo "Root rights are needed for: $*" >&2
        return 1
    fi
}

apt_updated=no
apt_install() {
    command -v apt-get >/dev/null 2>&1 || return 1
    if [ $apt_updated = no ]; then
        as_root apt-get update -qq >/dev/null || return 1
        apt_updated=yes
    fi
    as_root env DEBIAN_FRONTEND=noninteractive \
        apt-get install -y -qq --no-install-recommends "$@" >/dev/null
}

# need_program PROGRAM DEBIAN-PACKAGE...
need_program() {
    program=$1
    shift
    command -v "$program" >/dev/null 2>&1 && return 0
    echo "Installing $* ..."
    apt_install "$@" || {
        echo "Please install $program first: it is missing and could not be installed." >&2
        exit 1
    }
}

has_r_package() {
    Rscript --vanilla -e "quit(status = !requireNamespace('$1', quietly = TRUE))" >/dev/null 2>&1
}

# need_r PACKAGE...: from Debian as r-cran-package, else from CRAN
need_r() {
    missing=
    for package in "$@"; do
        has_r_package "$package" || missing="$missing $package"
    done
    [ -n "$missing" ] || return 0
    echo "Installing R packages:$missing ..."
    for package in $missing; do
        debian=r-cran-$(echo "$package" | tr '[:upper:]' '[:lower:]')
        apt_install "$debian" 2>/dev/null || from_cran "$package"
        has_r_package "$package" || {
            echo "The R package $package could not be installed." >&2
            return 1
        }
    done
}

# what has no Debian package is compiled, and may need more than R's own headers
from_cran() {
    command -v g++ >/dev/null 2>&1 || apt_install g++ zlib1g-dev 2>/dev/null || true
    Rscript --vanilla -e "
        lib <- .libPaths()[1]
        if (file.access(lib, 2) != 0) {
            lib <- Sys.getenv('R_LIBS_USER'); dir.create(lib, FALSE, TRUE)
        }
        options(timeout = 600)
        utils::chooseCRANmirror(graphics = FALSE, ind = 1)
        utils::install.packages('$1', lib = lib, quiet = TRUE)" >/dev/null 2>&1
}

# build_package TOP DIR: builds the source package into DIR and prints the file's name
build_package() {
    (cd "$2" && R CMD build --no-build-vignettes "$1" >build.log 2>&1) || {
        cat "$2/build.log" >&2
        exit 1
    }
    ls "$2"/softanneal_*.tar.gz
}

# install_package FILE LIBRARY
install_package() {
    mkdir -p "$2"
    R CMD INSTALL --library="$2" "$1" >"$2/install.log" 2>&1 || {
        cat "$2/install.log" >&2
        exit 1
    }
}

# install_copy TOP WORK: installs the sources, without objects of an earlier build, from
# WORK/source into WORK/library
install_copy() {
    mkdir -p "$2/library" "$2/source"
    cp -r "$1/DESCRIPTION" "$1/NAMESPACE" "$1/R" "$1/src" "$1/inst" "$2/source/"
    rm -f "$2"/source/src/*.o "$2"/source/src/*.so
    R CMD INSTALL --no-test-load --no-docs --library="$2/library" "$2/source" \
        >"$2/install.log" 2>&1 || {
        cat "$2/install.log" >&2
        exit 1
    }
}

need_basics() {
    need_program Rscript r-base-core
    need_program gcc gcc libc6-dev
    need_program make make
    [ -f "$(Rscript --vanilla -e 'cat(R.home("include"))')/R.h" ] || [ -f /usr/share/R/include/R.h ] ||
        apt_install r-base-dev || {
        echo "Please install the headers of R (Debian: r-base-dev)." >&2
        exit 1
    }
    need_r rlang generics ggplot2
}

# of the Chromium family, as find_browser() in R/bench.R knows them
has_browser() {
    for program in "${SOFTANNEAL_BROWSER:-chromium}" chromium-browser google-chrome google-chrome-stable chrome; do
        [ "$program" = none ] || command -v "$program" >/dev/null 2>&1 && return 0
    done
    return 1
}

# what test.sh needs; a test that wants one of the reference libraries and formats is skipped
# where that cannot be had
need_for_tests() {
    need_basics
    need_r testthat withr knitr rmarkdown
    need_program pandoc pandoc
    command -v node >/dev/null 2>&1 || apt_install nodejs 2>/dev/null ||
        echo "Going on without node; the tests of pages are skipped."
    has_browser || { echo "Installing chromium ..." && apt_install chromium 2>/dev/null; } ||
        echo "Going on without a browser; the runs of pages in Chromium are skipped."
    for package in codetools minpack.lm nlme lme4 boot numDeriv deSolve Rmpfr broom tibble dplyr units data.table \
        readxl sandwich survival htmltools jsonlite rstudioapi shiny miniUI spelling writexl yaml DBI \
        RSQLite future future.apply progressr nanoparquet emmeans parameters; do
        need_r $package || echo "Going on without $package; its tests are skipped."
    done
}
