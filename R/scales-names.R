# Names of hardness scales: one spelling for each scale, and the one function that knows
# the trade's other spellings. Nothing is guessed: what is not known here stays as it is
# and is refused by the table it is looked up in.

#' One spelling for each hardness scale
#'
#' Reduces the spellings found in laboratory files to the one this package uses. Upper and
#' lower case and blanks do not matter.
#'
#' | spelling used here | also understood |
#' |---|---|
#' | `HRB`, `HRE`, `HRF`, `HRG`, `HRH`, `HRK` | with `W` (carbide ball), `S` (steel ball): `HRBW` |
#' | `HR15T`, `HR30T`, `HR45T`, `HR15W` | with `W` or `S`: `HR30TW`, `HR30TS` |
#' | `HRA`, `HRC`, `HRD`, `HR15N`, `HR30N`, `HR45N` | |
#' | `HV` | with the load in kgf: `HV10`, `HV 5`, `HV0.5`, `HV1/15`; the older `VHN`, `DPH` |
#' | `HV 0.1` | `HV0.1`: a column of its own in the copper table only, otherwise taken as `HV` |
#' | `HK` | with the load in kgf: `HK1`, `HK 0.5`; `HK 0.5` is a column of its own for copper |
#' | `HBW 10/500` | ball diameter in mm and load in kgf, `HBW10/500`, `HB 10/500`, `HBS 10/500/15` |
#' | `HB 30D2` | Brinell with a load of 30 D^2 kgf (D in mm), as in GB/T 3771 and DIN 50150 |
#'
#' A bare `HB` or `HBW` is not accepted where a table is looked up: Brinell numbers of
#' different load index are different numbers. A steel ball and a tungsten-carbide ball do
#' not give quite the same Rockwell number (ASTM E18-02, clause 1.1, note: the carbide ball
#' may read lower by up to 1 HRB); the conversion tables do not separate them. Vickers numbers at
#' loads far below 1 kgf run higher than the tables' HV (indentation size effect); `HV0.1`
#' is still converted as `HV`, except for copper, whose table has both.
#'
#' @param scale Text or factor: names of hardness scales.
#' @return Character vector of the same length; names that are not known are returned
#'   trimmed of blanks at both ends; `NA` stays `NA`.
#' @seealso [hardness_scales()], [convert_hardness()]
#' @examples
#' standardise_scale(c("hv10", "HRBW", "HR 30 TW", "HBW10/500"))
#' @export
standardise_scale <- function(scale) {
  if (is.factor(scale)) return(standardise_scale(levels(scale))[as.integer(scale)])
  if (is.logical(scale) && all(is.na(scale))) scale <- as.character(scale)
  if (!is.character(scale)) {
    abort("argument", paste0("`scale` must be text, not ", describe(scale)), arg = "scale",
          remedy = "Name a hardness scale, such as \"HV\" or \"HRB\".")
  }
  spelling <- unique(scale)
  read_scales(spelling)$name[match(scale, spelling)]
}

# Names of a scale whose form is known.
KNOWN_SCALE <- "^(H[VK]( 0\\.[15])?|HR[A-HK]|HR(15|30|45)[NTWXY]( \\(.*\\))?|HBW .+|HB 30D2)$"

# The one reader of scale names, see the table on the page above. For each text: `name`, the
# spelling of the tables (as it came, trimmed, where unknown); `test`, the name with the load of
# Vickers and Knoop, on which thickness and spacing depend (NA where unknown); `force_kgf` and
# `ball_mm` as far as the name tells them.
read_scales <- function(x) {
  x <- valid_text(x)
  tight <- toupper(gsub("[[:space:]]", "", x))
  tight <- sub("^(H[VK][0-9]+),([0-9]+)", "\\1.\\2", tight)
  brinell <- grepl("^HB", tight)
  tight[brinell] <- gsub("_", "/", sub("^(HB[WS]?)_", "\\1", tight[brinell]))
  number <- "([0-9]+(?:\\.[0-9]+)?)"
  name <- sub("^(VHN|DPH)$", "HV", tight)
  name <- sub("^(HR[BEFGHK])[WS]$", "\\1", name)
  name <- sub("^(HR(?:15|30|45)[TWXY])[WS]$", "\\1", name, perl = TRUE)
  name <- sub("^HV0?\\.10?(?:/[0-9]+)?$", "HV 0.1", name, perl = TRUE)
  name <- sub(paste0("^HV", number, "(?:/[0-9]+)?$"), "HV", name, perl = TRUE)
  name <- sub("^HK0?\\.50?(?:/[0-9]+)?$", "HK 0.5", name, perl = TRUE)
  name <- sub(paste0("^HK", number, "(?:/[0-9]+)?$"), "HK", name, perl = TRUE)
  name <- sub(paste0("^HB[WS]?", number, "/", number, "(?:/[0-9]+)?$"), "HBW \\1/\\2", name,
              perl = TRUE)
  name <- sub("^HB[WS]?30D(2|\\^2)$", "HB 30D2", name)
  strip <- grepl("^HR15T\\(0\\.[0-9]+MM\\)$", name)
  name[strip] <- sub("MM\\)", " mm)", sub("\\(", " (", name[strip]))
  known <- grepl(KNOWN_SCALE, name)
  loaded <- name %in% c("HV", "HK") & grepl("[0-9]", tight)
  test <- ifelse(loaded, tight, name)
  test[!known] <- NA_character_
  # A name of no known form goes back as it came, for the message that will name it.
  name[!known] <- trimws(x)[!known]
  name[is.na(x)] <- NA_character_
  part <- function(rows, pattern) {
    out <- rep(NA_real_, length(name))
    out[rows] <- as.numeric(sub(pattern, "\\1", ifelse(brinell, name, tight)[rows]))
    out
  }
  pyramid <- known & grepl("^H[VK][0-9.]+(/[0-9]+)?$", tight)
  ball <- known & grepl("^HBW ", name)
  force <- part(pyramid, "^H[VK]([0-9.]+).*$")
  force[ball] <- part(ball, "^HBW .*/(.*)$")[ball]
  list(name = name, test = test, force_kgf = force, ball_mm = part(ball, "^HBW (.*)/.*$"))
}

# Scale names with the load where Vickers and Knoop have one ("HV10"), NA where unknown.
known_scale <- function(x) {
  if (is.factor(x)) return(known_scale(levels(x))[as.integer(x)])
  if (is.logical(x) && all(is.na(x))) x <- as.character(x)
  read_scales(x)$test
}

# A standard name as the column of one table: loads that have no column of their own are
# the plain scale.
scale_in_table <- function(name, table) {
  plain <- sub("^(H[VK]) 0\\.[15]$", "\\1", name)
  ifelse(name %in% colnames(table$value), name, plain)
}

# The conversion table of a material, by name.
table_of <- function(material, arg = "material") {
  known <- names(scale_tables)
  if (!is.character(material) || length(material) != 1L || is.na(material)) {
    abort("scale", paste0("`", arg, "` must be one name, not ", describe(material)), arg = arg,
          remedy = paste0("Choose one of ", in_quotes(known), "."))
  }
  name <- if (material == "aluminum") "aluminium" else material
  if (!name %in% known) {
    abort("scale", paste0("there is no conversion table for the material '", material, "'"),
          arg = arg, remedy = paste0("Choose one of ", in_quotes(known), "."))
  }
  scale_tables[[name]]
}

# Scales as integer codes into the columns of a table. `scale`: text or factor, one name or
# one for each reading. A name the table does not have stops with its rows.
scale_codes <- function(scale, table, material, arg) {
  found <- labels_of(scale, arg)
  scales <- colnames(table$value)
  column <- match(found$labels, scales)
  if (anyNA(column)) {
    column <- match(scale_in_table(read_scales(found$labels)$name, table), scales)
  }
  code <- column[found$code]
  if (anyNA(column) || anyNA(code)) {
    bad <- which(is.na(code))
    if (length(bad) == 0L) return(code)
    unknown <- unique(found$labels[found$code[bad]])
    problem <- if (anyNA(unknown)) paste0("`", arg, "` is missing")
               else paste0("`", arg, "`: the table for ", material, " has no scale ",
                           in_quotes(unknown, " and "))
    abort("scale", problem, arg = arg, rows = if (length(scale) > 1L) bad,
          remedy = paste0("It has ", in_quotes(scales, " and "), "."))
  }
  code
}

# The different names in a column and the number of each reading's name.
labels_of <- function(scale, arg) {
  if (is.factor(scale)) return(list(code = as.integer(scale), labels = levels(scale)))
  if (is.logical(scale) && all(is.na(scale))) scale <- as.character(scale)
  if (!is.character(scale)) {
    abort("scale", paste0("`", arg, "` must name hardness scales, not be ", describe(scale)),
          arg = arg, remedy = "Use names such as \"HV\" or \"HRB\".")
  }
  found <- .Call(C_sa_call_labels, scale)
  if (!is.null(found)) return(found)
  labels <- unique(scale)
  list(code = match(scale, labels), labels = labels)
}
