library(testthat)
library(softanneal)

test_check("softanneal")
