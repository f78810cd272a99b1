# Called by site.sh: follows every link and plot within the site in the folder given and stops
# if one leads nowhere. Links to other sites are counted, not followed.
site <- commandArgs(trailingOnly = TRUE)[1L]
pages <- list.files(site, pattern = "[.]html$", recursive = TRUE, full.names = TRUE)
if (!length(pages)) stop("No pages in ", site, ".")
anchors <- new.env()
text_of <- function(file) paste(readLines(file, warn = FALSE, encoding = "UTF-8"), collapse = "\n")
values <- function(text, attribute) {
  pattern <- sprintf("\\s%s=[\"']([^\"']*)[\"']", attribute)
  sub(pattern, "\\1", regmatches(text, gregexpr(pattern, text, perl = TRUE))[[1L]], perl = TRUE)
}
anchors_of <- function(file) {
  if (is.null(anchors[[file]])) {
    text <- text_of(file)
    assign(file, c(values(text, "id"), values(text, "name")), envir = anchors)
  }
  anchors[[file]]
}

broken <- character()
within <- 0L
outside <- 0L
for (page in pages) {
  # the text of examples and output holds no links of its own
  links <- unique(c(values(text_of(page), "href"), values(text_of(page), "src")))
  links <- links[nzchar(links) & !grepl("^(data|mailto|javascript):", links)]
  away <- grepl("^(https?:)?//", links)
  outside <- outside + sum(away)
  for (link in links[!away]) {
    within <- within + 1L
    target <- utils::URLdecode(sub("[?#].*$", "", link))
    file <- if (!nzchar(target)) page else
      if (startsWith(target, "/")) file.path(site, target) else file.path(dirname(page), target)
    if (dir.exists(file)) file <- file.path(file, "index.html")
    anchor <- if (grepl("#", link, fixed = TRUE)) utils::URLdecode(sub("^[^#]*#", "", link)) else ""
    if (!file.exists(file)) {
      broken <- c(broken, paste(sub(site, "", page, fixed = TRUE), "->", link))
    } else if (nzchar(anchor) && grepl("[.]html$", file) &&
                 !anchor %in% anchors_of(normalizePath(file))) {
      broken <- c(broken, paste(sub(site, "", page, fixed = TRUE), "->", link, "(no such place)"))
    }
  }
}
cat(sprintf("%d pages, %d links within the site, %d to other sites, %d broken\n", length(pages),
            within, outside, length(broken)))
if (length(broken)) {
  writeLines(broken, stderr())
  quit(status = 1L)
}
