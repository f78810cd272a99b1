# The builder of pages: one file, nothing from outside, nothing of the data acts.

tiny_page <- function(dir = withr::local_tempdir(.local_envir = parent.frame())) {
  for (name in c("shell.html", "page.css", "page.js")) {
    file.copy(system.file("pages", name, package = "softanneal", mustWork = TRUE), dir)
  }
  for (name in c("core.js", "core-api.js")) writeLines("\"use strict\";", file.path(dir, name))
  writeLines("<p id=\"x\"></p>", file.path(dir, "tiny.html"))
  writeLines("p { margin: 0; }", file.path(dir, "tiny.css"))
  writeLines("page.text(\"x\", page.data.name);", file.path(dir, "tiny.js"))
  dir
}

data_of <- function(html) {
  regmatches(html, regexec("id=\"page-data\">(.*?)</script>", html))[[1L]][2L]
}

test_that("data come back from a page as they went in, to the last bit", {
  skip_if_not_installed("jsonlite")
  x <- list(pi = pi, third = I(1 / 3), plain = c(290, 330.5), ends = c(-Inf, NA, NaN, Inf, 1e-310),
            none = NULL, empty = numeric(), one = I("a"), text = c("a", NA), whole = 1:3, yes = TRUE,
            table = data.frame(u = factor("b"), v = 2), rows = matrix(c(1, 2, 3, 1 / 3), 2))
  back <- jsonlite::fromJSON(json_text(x), simplifyVector = FALSE)
  bytes <- function(code) readBin(jsonlite::base64_dec(code), "double", 99L, endian = "little")
  expect_identical(bytes(back$pi[["#double"]]), pi)
  expect_identical(bytes(back$third[["#doubles"]]), 1 / 3)
  expect_identical(unlist(back$plain), c(290, 330.5))
  expect_identical(bytes(back$ends[["#doubles"]]), x$ends)
  expect_null(back$none)
  expect_identical(back$empty, list())
  expect_identical(back$one, list("a"))
  expect_identical(back$text, list("a", NULL))
  expect_identical(back$table, list(u = list("b"), v = list(2L)))
  expect_identical(unlist(back$rows[[1L]]), c(1L, 3L))
  expect_identical(bytes(back$rows[[2L]][["#doubles"]]), c(2, 1 / 3))
})

test_that("no payload in the data or title of a page acts, and each comes back as typed", {
  skip_if_not_installed("jsonlite")
  dir <- tiny_page()
  typed <- c(payloads(), end = "</script><script>alert(1)</script>", open = "<!--<script>",
             mark = "{{scripts}}", line = "a\u2028b\u2029c",
             attribute = "'\"><img src=x onerror=alert(1)>", key = "#doubles")
  made <- function(name) {
    data <- stats::setNames(list(name, list(cell = I(name))), c("name", "table"))
    page_text("tiny", paste(name, collapse = " ; "), data, "furnace", folder = dir)
  }
  hostile <- made(typed)
  expect_match(data_of(hostile), "^[ -;=?-~]*$") # ASCII without < and >
  expect_identical(unlist(jsonlite::fromJSON(data_of(hostile))$name), unname(typed))
  expect_nothing_acts(hostile, made("plain"), typed)
})

test_that("a page names the digests of what may run, and its parts can hold no tag", {
  skip_if_not_installed("jsonlite")
  dir <- tiny_page()
  html <- page_text("tiny", "A page", list(name = "x"), "annealing", 400, folder = dir)
  policy <- regmatches(html, regexec("Content-Security-Policy\" content=\"([^\"]*)\"", html))[[1L]][2L]
  expect_match(policy, "^default-src 'none'; script-src 'sha256-")
  expect_false(grepl("unsafe|http|\\*", policy))
  scripts <- gsub("</?script>", "", regmatches(html, gregexpr("<script>.*?</script>", html))[[1L]])
  expect_length(scripts, 4L)
  for (one in scripts) expect_match(policy, page_digest(one), fixed = TRUE)
  # known digest of the empty text, FIPS 180-4
  expect_identical(unname(page_digest("")), "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='")
  expect_match(html, "<html lang=\"en\">", fixed = TRUE)
  expect_match(html, "zinc fume", fixed = TRUE)
  expect_false(grepl("from 500", html, fixed = TRUE)) # hotter work than this
  expect_false(grepl("(src|href|action)=", sub("<script.*", "", html)))
  for (file in list.files(system.file("pages", package = "softanneal"), "[.](js|css)$", full.names = TRUE)) {
    expect_false(any(grepl("</(script|style)|<!--", page_part(file), ignore.case = TRUE)), label = file)
  }
})

test_that("in a browser nothing but the scripts of a page can run, ask or load", {
  skip_on_cran()
  skip_unless_browser()
  found <- drive_page("tiny", "A page", list(name = "</p><b>x</b>"), "
    document.body.insertAdjacentHTML('beforeend', '<i style=\"color: red\" onclick=\"1\">x</i>');
    let said = 'loaded';
    try { await fetch('https://softanneal.example/x'); } catch (e) { said = 'refused'; }
    const script = document.createElement('script');
    script.textContent = 'window.ran = true';
    const image = document.createElement('img');
    image.src = 'https://softanneal.example/x.png';
    document.body.append(script, image);
    await new Promise((r) => setTimeout(r, 200));
    return {said, ran: window.ran === true, shown: document.getElementById('x').innerHTML};",
    folder = tiny_page())
  expect_setequal(found$violations, c("style-src-attr", "script-src-attr", "connect-src", "script-src-elem",
                                      "img-src"))
  expect_identical(found[c("said", "ran")], list(said = "refused", ran = FALSE))
  expect_identical(found$shown, "&lt;/p&gt;&lt;b&gt;x&lt;/b&gt;")
  expect_gte(length(found$console), 5L) # so that a quiet page is quiet
})

test_that("a page that cannot be written is an error, and nothing stands there", {
  skip_if_not_installed("jsonlite")
  file <- file.path(withr::local_tempdir(), "page.html")
  full <- copied_package(put_in_place = function(...) FALSE)
  expect_refused(full$write_page(file, "explore", "A page", list(name = "x"), FALSE, "annealing"), "file",
                 "could not be written")
  expect_false(file.exists(file))
})
