# When two temperatures, times or strains count as the same, and when a condition counts as outside
# a range. Twin of the tolerance: sa_same() in src/replicates.h.

SAME_WITHIN <- 1e-9 # relative; temperatures in K

same_number <- function(a, b) abs(a - b) <= SAME_WITHIN * pmax(abs(a), abs(b))

same_temperature <- function(a_c, b_c) same_number(a_c + ZERO_CELSIUS, b_c + ZERO_CELSIUS)

# Different temperatures in deg C, in order, without the rounding of their computation.
different_temperatures <- function(temp_c) sort(unique(signif(temp_c, 10)))

is_below <- function(x, limit) x < limit - SAME_WITHIN * abs(limit)

is_above <- function(x, limit) x > limit + SAME_WITHIN * abs(limit)

is_outside <- function(x, range) is_below(x, range[1L]) | is_above(x, range[2L])
