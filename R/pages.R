# Pages that compute by themselves: one HTML file each, of the parts in inst/pages. shell.html takes what all
# have in common (page.css, page.js, the compiled core); NAME.html, NAME.css and NAME.js are the page. A
# Content-Security-Policy names the digests of the scripts and the style, so that nothing else can run and no
# request can be made. Text from data is in the JSON alone; its title is escaped as in any HTML.

# Scripts in the order they run, before that of the page itself.
PAGE_SCRIPTS <- c("core.js", "core-api.js", "page.js")

# `data`: a list for the page, see json_text(); `process`: cautions of cautions() that stand on the page,
# up to `temp_c`. `file` comes from check_new_file().
write_page <- function(file, page, title, data, overwrite, process, temp_c = NULL) {
  text <- page_text(page, title, data, process, temp_c)
  if (!put_in_place(file, function(to) NULL, function(to) save_lines(text, to), replace = overwrite)) {
    abort("file", paste0("the file ", file, " could not be written"), arg = "file",
          remedy = "Check the free space and your rights in the folder.")
  }
  invisible(file)
}

page_text <- function(page, title, data, process, temp_c = NULL,
                      folder = system.file("pages", package = "softanneal", mustWork = TRUE)) {
  part <- function(name) page_part(file.path(folder, name))
  scripts <- vapply(c(PAGE_SCRIPTS, own_scripts(page, folder)), part, "")
  worker <- grepl("new Worker(", scripts[length(scripts)], fixed = TRUE)
  style <- paste(part("page.css"), part(paste0(page, ".css")), sep = "\n")
  fill_template(part("shell.html"), list(
    policy = page_policy(scripts, style, worker), title = markdown_text(title), style = style,
    body = part(paste0(page, ".html")), cautions = page_cautions(process, temp_c), data = json_text(data),
    scripts = paste0("<script>", scripts, "</script>", collapse = "\n")))
}

# Parts of the script of a page (`bench-judge.js`), then the script itself.
own_scripts <- function(page, folder) {
  c(sort(list.files(folder, paste0("^", page, "-[a-z]+[.]js$")), method = "radix"), paste0(page, ".js"))
}

# A file as one text with the line ends of HTML. No script or style of the package holds a tag that would
# end its own element (test-pages.R).
page_part <- function(path) {
  enc2utf8(paste(readLines(path, encoding = "UTF-8", warn = FALSE), collapse = "\n"))
}

# A page shown: in the viewer of RStudio, which takes files of the session's folder, or in the browser, where
# what a page saves stays.
show_page <- function(file, viewer = TRUE) {
  show <- getOption("viewer")
  if (!viewer || !is.function(show)) return(invisible(utils::browseURL(normalizePath(file))))
  copy <- file.path(tempdir(), paste0("softanneal-", basename(file)))
  file.copy(file, copy, overwrite = TRUE)
  invisible(show(copy))
}

# Each {{name}} replaced once; what comes in is not looked at again.
fill_template <- function(template, values) {
  mark <- gregexpr("\\{\\{[a-z]+\\}\\}", template)
  names <- gsub("[{}]", "", regmatches(template, mark)[[1L]])
  between <- regmatches(template, mark, invert = TRUE)[[1L]]
  paste0(between, c(vapply(names, function(name) values[[name]], ""), ""), collapse = "")
}

# Scripts and style by digest, pictures made in the page, nothing from elsewhere; a worker only of scripts
# made in the page, under the same policy.
page_policy <- function(scripts, style, worker = FALSE) {
  paste0("default-src 'none'; script-src ", paste(page_digest(scripts), collapse = " "), "; style-src ",
         page_digest(style), if (worker) "; worker-src blob:",
         "; img-src data: blob:; base-uri 'none'; form-action 'none'")
}

page_digest <- function(text) {
  vapply(enc2utf8(text), function(one) {
    paste0("'sha256-", jsonlite::base64_enc(.Call(C_sa_call_sha256, charToRaw(one))), "'")
  }, "")
}

# Cautions as they stand in the page, with or without scripts.
page_cautions <- function(process, temp_c = NULL) {
  rows <- cautions(process, temp_c)
  kinds <- unique(rows$process)
  parts <- vapply(kinds, function(kind) {
    own <- rows[rows$process == kind, ]
    from <- ifelse(is.na(own$from_temp_c), "", paste0(" (from ", own$from_temp_c, " \u00b0C)"))
    title <- paste0(toupper(substring(kind, 1L, 1L)), substring(kind, 2L))
    paste0("<h3>", markdown_text(title), "</h3>\n<ul>\n",
           paste0("<li>", markdown_text(paste0(own$hazard, from, ": ", own$precaution)), "</li>",
                  collapse = "\n"), "\n</ul>")
  }, "")
  paste0("<section class=\"caution\" aria-labelledby=\"page-cautions\">\n",
         "<h2 id=\"page-cautions\">Hazards and precautions</h2>\n<p>",
         markdown_text(CAUTION_DEFERENCE), " ", markdown_text(CAUTION_ESTIMATE), "</p>\n",
         paste(parts, collapse = "\n"), "\n</section>")
}
