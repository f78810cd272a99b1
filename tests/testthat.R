library(testthat)
library(softanneal)

# part of the files, by a regular expression on their names; all of them otherwise
part <- Sys.getenv("SOFTANNEAL_TEST_FILTER")
test_check("softanneal", filter = if (nzchar(part)) part)
