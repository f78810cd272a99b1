# Columns named by the user in a call.

# The name in a column argument, bare or quoted.
column_name <- function(expr) {
  if (is.symbol(expr)) return(as.character(expr))
  if (is.character(expr) && length(expr) == 1L && !is.na(expr)) return(expr)
  abort("argument", paste0("a column argument must be one name, not `",
                           paste(deparse(expr), collapse = " "), "`"), arg = "column",
        remedy = "Give the bare or quoted name of a column; compute the column first.")
}
