# Rebuilds R/sysdata.rda from the tables in inst/extdata, bit for bit. Run from the top of
# the package: Rscript inst/scripts/dev/make-scale-tables.R
#
# Assumes: one wide CSV a table (first column for which conversion_columns.csv says
# pivot = yes has no blank cell), and conversion_cells.csv for single cells that have another
# provenance than their row, or that are kept out of the interpolation.
# Blank cells between two given ones are filled on the monotone cubic (Fritsch and Carlson,
# SIAM J. Numer. Anal. 17 (1980) 238) through the given cells of their column against the
# pivot; nothing is filled beyond the ends of a column.

read_table <- function(name) {
  utils::read.csv(file.path("inst", "extdata", paste0(name, ".csv")), check.names = FALSE,
                  stringsAsFactors = FALSE, na.strings = "", encoding = "UTF-8")
}

columns <- read_table("conversion_columns")
cells <- read_table("conversion_cells")
standards <- c(
  brass = "ASTM E140 Table 4", brass_gb = "GB/T 3771-1983", copper = "ASTM E140 Table 7",
  aluminium = "ASTM E140 Table 9", steel = "ASTM E140 Table 2", steel_din = "DIN 50150"
)

# The long form of one table, a row for each cell that holds a number.
long_table <- function(material) {
  wide <- read_table(paste0("conversion_", material))
  about <- columns[columns$table == material, ]
  stopifnot(all(about$column %in% names(wide)), sum(about$pivot == "yes") == 1L)
  pivot <- wide[[about$column[about$pivot == "yes"]]]
  stopifnot(!anyNA(pivot), !anyDuplicated(pivot))
  one <- function(i) {
    data.frame(
      material = material, standard = standards[[material]], scale = about$scale[i],
      meaning = about$meaning[i], value = as.double(wide[[about$column[i]]]),
      pivot_scale = about$scale[about$pivot == "yes"], pivot = as.double(pivot),
      resolution = about$resolution[i],
      status = sub(" .two copies of the same standard.", "", wide$status),
      confidence = if (is.null(wide$confidence)) NA_character_ else wide$confidence,
      used = TRUE, source = wide$source,
      note = if (is.null(wide$note)) NA_character_ else wide$note, stringsAsFactors = FALSE
    )
  }
  long <- do.call(rbind, lapply(seq_len(nrow(about)), one))
  long <- long[!is.na(long$value), ]
  for (k in which(cells$table == material)) {
    at <- which(long$scale == cells$scale[k] & long$pivot >= cells$pivot_from[k] &
                  long$pivot <= cells$pivot_to[k])
    stopifnot(length(at) > 0L)
    if (!is.na(cells$status[k])) long$status[at] <- cells$status[k]
    long$note[at] <- cells$note[k]
    long$used[at] <- cells$used[k] == "yes"
  }
  rownames(long) <- NULL
  long
}

# Matrix of rows by scales in ascending order of the pivot, blanks filled; `given` says
# which of them stand in the table.
filled_table <- function(long) {
  pivot <- sort(unique(long$pivot))
  scales <- unique(long$scale)
  value <- matrix(NA_real_, length(pivot), length(scales), dimnames = list(NULL, scales))
  used <- long[long$used, ]
  value[cbind(match(used$pivot, pivot), match(used$scale, scales))] <- used$value
  given <- !is.na(value)
  for (scale in scales) {
    have <- given[, scale]
    fill <- !have & pivot > min(pivot[have]) & pivot < max(pivot[have])
    curve <- stats::splinefun(pivot[have], value[have, scale], method = "monoH.FC")
    value[fill, scale] <- curve(pivot[fill])
    stopifnot(all(diff(value[!is.na(value[, scale]), scale]) >= 0))
  }
  list(pivot = long$pivot_scale[1L], value = value, given = given)
}

scale_cells <- do.call(rbind, lapply(names(standards), long_table))
scale_tables <- lapply(stats::setNames(names(standards), names(standards)), function(material) {
  filled_table(scale_cells[scale_cells$material == material, ])
})

# The number of the same row on the Vickers scale, where the table gives one.
vickers_of_row <- function(material) {
  here <- scale_cells[scale_cells$material == material, ]
  hv <- here[here$scale == "HV", ]
  hv$value[match(here$pivot, hv$pivot)]
}
scale_cells$hv <- unlist(lapply(names(standards), vickers_of_row))

# A monotone cubic through the given points of a pair, for the comparisons below.
pair_curve <- function(table, from, to) {
  rows <- table$given[, from] & table$given[, to]
  y <- tapply(table$value[rows, to], table$value[rows, from], mean)
  stats::splinefun(sort(unique(table$value[rows, from])), as.vector(y), method = "monoH.FC")
}

# Rounding and roughness of a column: the larger of its rounding error (uniform, resolution
# over root 12) and the root mean square by which a cell differs from the curve
# through all others. The leading column is exact by construction.
column_error <- function(material, scale) {
  table <- scale_tables[[material]]
  if (scale == table$pivot) return(0)
  rows <- table$given[, scale]
  x <- table$value[rows, table$pivot]
  y <- table$value[rows, scale]
  left_out <- vapply(seq(2L, length(x) - 1L), function(i) {
    y[i] - stats::splinefun(x[-i], y[-i], method = "monoH.FC")(x[i])
  }, 0)
  resolution <- scale_cells$resolution[scale_cells$material == material &
                                         scale_cells$scale == scale][1L]
  max(resolution / sqrt(12), sqrt(mean(left_out^2)))
}

# Relative differences in HV between two tables that give a scale: the Vickers number the
# first one gives for the number of the second, over the Vickers number of the second.
disagreement <- function(first, second, scale) {
  one <- scale_tables[[first]]
  two <- scale_tables[[second]]
  rows <- two$given[, scale] & two$given[, "HV"]
  x <- two$value[rows, scale]
  hv <- two$value[rows, "HV"]
  inside <- x >= min(one$value[one$given[, scale], scale]) &
    x <= max(one$value[one$given[, scale], scale]) & hv <= max(one$value[, "HV"], na.rm = TRUE)
  data.frame(scale = scale, hv = hv[inside],
             relative = pair_curve(one, scale, "HV")(x[inside]) / hv[inside] - 1)
}

shared <- c("HRB", "HRF", "HR15T", "HR30T", "HR45T")
brass <- do.call(rbind, lapply(shared, \(s) disagreement("brass", "brass_gb", s)))
steel <- disagreement("steel", "steel_din", "HRB")
root_mean_square <- function(x) sqrt(mean(x^2))
# Each scale counts once in the pooled figures, however many rows it has.
pooled <- function(d) {
  root_mean_square(tapply(d$relative, d$scale, root_mean_square))
}
everything <- rbind(brass, transform(steel, scale = "steel HRB"))

spread_row <- function(material, scale) {
  pair <- switch(material, brass = , brass_gb = brass, steel = , steel_din = steel, everything)
  alone <- !material %in% c("brass", "brass_gb", "steel", "steel_din")
  own <- pair[!alone & pair$scale == scale, ]
  from <- if (nrow(own)) own else pair
  high <- pooled(from[from$hv >= 100, ])
  low <- if (any(from$hv < 100)) pooled(from[from$hv < 100, ]) else high
  data.frame(
    material = material, scale = scale, table_error = column_error(material, scale),
    relative_from_100 = if (scale == "HV") 0 else high,
    relative_below_100 = if (scale == "HV") 0 else low,
    against = switch(material, brass = "GB/T 3771-1983", brass_gb = "ASTM E140 Table 4",
                     steel = "DIN 50150", steel_din = "ASTM E140 Table 2",
                     "no second table: brass and steel pooled"),
    pooled = nrow(own) == 0L && scale != "HV", stringsAsFactors = FALSE
  )
}
scale_spread <- do.call(rbind, lapply(names(scale_tables), function(material) {
  do.call(rbind, lapply(colnames(scale_tables[[material]]$value), spread_row,
                        material = material))
}))

scale_info <- read_table("scale_hardness")
scale_cylinder <- read_table("scale_cylinder")

# Strength: GB/T 3771 sheet and rod, and the scatter of each relation about what can be
# compared with it (kgf/mm2 to MPa: 9.80665).
gb <- read_table("conversion_brass_gb")
gb <- gb[!is.na(gb$UTS_sheet_MPa), ]
points <- read_table("scale_strength_points")
tensile <- function(hv, n) hv / 2.9 * (n / 0.217)^n * 9.80665
proof <- function(hv, n) hv / 3 * 0.1^n * 9.80665
n <- points$meyer_index - 2
relative_tensile <- c(tensile(points$hv, n) / points$tensile_mpa,
                      tensile(gb$HV, 0.1) / gb$UTS_sheet_MPa) - 1
relative_proof <- proof(points$hv, n) / points$proof_mpa - 1
scale_strength <- list(
  table = data.frame(hv = gb$HV, sheet = as.double(gb$UTS_sheet_MPa),
                     rod = as.double(gb$UTS_rod_MPa)),
  points = points,
  scatter = c(gb3771 = root_mean_square(gb$UTS_rod_MPa / gb$UTS_sheet_MPa - 1),
              cahoon_tensile = root_mean_square(relative_tensile),
              cahoon_proof = root_mean_square(relative_proof),
              tabor = root_mean_square(relative_tensile))
)

save(scale_cells, scale_tables, scale_spread, scale_info, scale_cylinder, scale_strength,
     file = file.path("R", "sysdata.rda"), version = 2, compress = "xz")
