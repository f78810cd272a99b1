# Beside the sources all tests run; the check of the built package alone (CRAN) leaves out the long ones,
# by skip_on_cran().
if (nzchar(Sys.getenv("SOFTANNEAL_SOURCE")) && !nzchar(Sys.getenv("NOT_CRAN"))) Sys.setenv(NOT_CRAN = "true")

# TRUE where skip_on_cran() would skip: for tests in a loop, of which some run everywhere.
on_cran <- function() !identical(Sys.getenv("NOT_CRAN"), "true")
