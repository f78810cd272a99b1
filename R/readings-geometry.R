# Size of an indentation and the thickness its test asks for, reading by reading, for the
# checks of a table. Lengths in mm. The geometry itself is that of the planning room
# (choose.R); here every scale of a table is looked up once, and a scale without geometry (a
# Vickers number without its load) gives NA, since a check must not stop at it.

# Diameter of indentations and the minimum thickness by the ISO rule; NA where the scale
# does not tell.
indent_size <- function(hardness, scale) {
  labels <- unique(scale)
  id <- match(scale, labels)
  diameter <- least <- rep(NA_real_, length(hardness))
  for (i in seq_along(labels)) {
    test <- tryCatch(test_geometry(as_scale_names(labels[i])),
                     softanneal_error_scale = function(e) NULL)
    if (is.null(test)) next
    at <- which(id == i & !is.na(hardness))
    diameter[at] <- indent_diameter(hardness[at], test)
    least[at] <- thickness_iso(hardness[at], test)
  }
  list(diameter = diameter, least = least)
}

# The lowest reading that ASTM E18 allows on sheet of this thickness. A thickness between two
# rows takes the thinner row. `limit` NA: the scale has no table; Inf: thinner than any row.
# `last`: beyond the end of the table, which has no value for softer metal.
e18_limit <- function(thickness_mm, scale) {
  table <- fact_table("thickness_e18.csv")
  limit <- rep(NA_real_, length(scale))
  last <- rep(FALSE, length(scale))
  memory <- unique(table$scale[grepl("from memory", table$status)])
  for (name in intersect(unique(scale), table$scale)) {
    rows <- table[table$scale == name, ]
    rows <- rows[order(rows$thickness_mm), ]
    at <- which(scale == name & !is.na(thickness_mm))
    # printed thicknesses are rounded to 0.01 mm
    step <- findInterval(thickness_mm[at] + 0.005, rows$thickness_mm)
    limit[at] <- c(Inf, rows$lowest_reading)[step + 1L]
    last[at] <- step == nrow(rows)
  }
  list(limit = limit, last = last, memory = memory)
}

# Useful range of scales after ISO 6508-1; NA where there is none.
useful_range <- function(scale) {
  table <- hardness_scales()
  table <- table[table$test == "Rockwell", ]
  row <- match(scale, table$scale)
  list(low = table$range_low[row], high = table$range_high[row])
}
