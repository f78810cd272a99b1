# Rebuilds R/sysdata.rda from the tables in inst/extdata, bit for bit. Run from the top of
# the package: Rscript inst/scripts/make-scale-tables.R
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
      used = TRUE, source = wide$source, note = if (is.null(wide$note)) NA_character_ else wide$note,
      stringsAsFactors = FALSE
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

save(scale_cells, scale_tables, file = file.path("R", "sysdata.rda"), version = 2,
     compress = "xz")
