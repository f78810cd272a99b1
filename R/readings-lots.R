# Lots of the metal: specimens of one name in several lots, groups or strips are different pieces.

# Names under which benches keep the lot (`Lot no.`, `Charge`, `coulee`).
LOT_NAMES <- paste0("^(lot|batch|charge|heat|coil|cast|melt|los|schmelze|coulee|lotto|lote|colata|colada)",
                    "(no|nr|number|nummer|id|name)?$")

# Columns of a table that tell several lots.
lot_columns <- function(data) {
  several_of(data, names(data)[grepl(LOT_NAMES, gsub("[^a-z]", "", fold_header(names(data))))])
}

# Names of specimens that are those of pieces. One that goes through several batches of a furnace is never
# twice at one time; one of two lots is, as rolled at the least. `used`: columns that the caller has given
# another meaning.
pieces_of_lots <- function(data, specimen, time, used = character()) {
  if (is.null(specimen)) return(NULL)
  for (name in setdiff(c(several_of(data, c("group", "strip")), lot_columns(data)), used)) {
    x <- data[[name]]
    if (!anyDuplicated(unique(data.frame(specimen, time, x))[1:2])) next
    specimen <- paste(as.character(specimen), "of", name, as.character(x))
  }
  specimen
}

# What a fit says of them where it pools the values of a column.
tell_same_names <- function(data, used, name) {
  specimen <- if ("specimen" %in% names(used)) data[[used[["specimen"]]]]
  time <- if ("time" %in% names(used)) data[[used[["time"]]]]
  if (!is.atomic(specimen) || !length(specimen) || !is.atomic(time) || !length(time)) return(NULL)
  if (!identical(pieces_of_lots(data, specimen, time, setdiff(names(data), name)), specimen)) {
    " Specimens of one name in several of them count as different pieces."
  }
}
