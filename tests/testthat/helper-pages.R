# Pages opened in a real browser, as the file they are: a driver joins the page's own script, does what a
# user does, and leaves what it found in the document, which the browser prints.

skip_unless_browser <- function() {
  skip_if_not_installed("jsonlite")
  skip_if(!nzchar(find_browser()), "no browser of the Chromium family")
}

# `page`: the text of a page by page_text() or a file; `driver`: JavaScript, the body of an async function
# that returns what is wanted, `wait(condition)` and `type(id, text)` at hand; `before` runs before the
# page's script. Returns it, with what the browser complained of.
# Time is feigned, and runs out beside what the browser does in true time when the machine is busy: a page
# that was waited for in vain is opened again.
drive_page <- function(...) {
  for (again in 1:4) {
    found <- drive_once(...)
    if (!identical(found$failed, "Error: waited in vain")) break
  }
  found
}

drive_once <- function(page, title, data, driver, width = 1280, process = "annealing",
                       folder = system.file("pages", package = "softanneal"), before = character()) {
  dir <- withr::local_tempdir()
  parts <- file.path(dir, "pages")
  dir.create(parts)
  file.copy(list.files(folder, full.names = TRUE), parts)
  own <- file.path(parts, paste0(page, ".js"))
  writeLines(c(FRAMES, before, readLines(own, encoding = "UTF-8"), DRIVER[1L], driver, DRIVER[2L]), own,
             useBytes = TRUE)
  file <- file.path(dir, "page.html")
  save_lines(page_text(page, title, data, process, folder = parts), file)
  said <- file.path(dir, "said")
  root <- identical(unname(Sys.info()["effective_user"]), "root")
  shown <- system2(find_browser(), c(
    "--headless", if (root) "--no-sandbox", "--disable-gpu", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    paste0("--user-data-dir=", shQuote(file.path(dir, "user"))), "--host-resolver-rules='MAP * ~NOTFOUND'",
    "--enable-logging=stderr", paste0("--window-size=", width, ",900"),
    "--virtual-time-budget=120000", "--dump-dom", shQuote(paste0("file://", normalizePath(file)))),
    stdout = TRUE, stderr = said, timeout = 120)
  shown <- paste(shown, collapse = "\n")
  found <- regmatches(shown, regexec("<pre id=\"found\">([A-Za-z0-9+/=]*)</pre>", shown))[[1L]][2L]
  console <- grep("CONSOLE", readLines(said, warn = FALSE), value = TRUE)
  if (is.na(found)) stop("the page did not answer: ", paste(console, collapse = "; "))
  answer <- rawToChar(jsonlite::base64_dec(found))
  Encoding(answer) <- "UTF-8"
  c(jsonlite::fromJSON(answer), list(console = console))
}

# Frames are drawn in true time, which feigned time does not wait for.
FRAMES <- "
window.requestAnimationFrame = (f) => setTimeout(() => f(performance.now()), 16);
window.cancelAnimationFrame = (k) => clearTimeout(k);"

DRIVER <- c("
;(async () => {
  const violations = [];
  document.addEventListener('securitypolicyviolation', (e) => violations.push(e.violatedDirective));
  const wait = async (done) => {
    for (let k = 0; k < 1500 && !done(); k++) await new Promise((r) => setTimeout(r, 50));
    if (!done()) throw new Error('waited in vain');
  };
  const type = (id, text) => {
    const field = document.getElementById(id);
    field.value = text;
    field.dispatchEvent(new Event('change', {bubbles: true}));
  };
  let found;
  try { found = await (async () => {", "
  })(); } catch (e) { found = {failed: String(e)}; }
  Object.assign(found, {violations, fault: document.getElementById('page-fault').hidden,
    requests: performance.getEntriesByType('resource').map((x) => x.name), text: document.body.innerText,
    wide: document.documentElement.scrollWidth - document.documentElement.clientWidth});
  const bytes = new TextEncoder().encode(JSON.stringify(found));
  const out = document.createElement('pre');
  out.id = 'found';
  let letters = '';
  bytes.forEach((b) => { letters += String.fromCharCode(b); });
  out.textContent = btoa(letters);
  document.body.append(out);
})();")

expect_quiet_page <- function(found) {
  expect_null(found$failed)
  expect_length(found$violations, 0L)
  expect_length(found$requests, 0L)
  expect_length(found$console, 0L)
  expect_true(found$fault) # hidden
  expect_lte(found$wide, 0)
}

# A page whose text `hostile` holds what was typed: no tag more than in `plain`, and all shown as typed.
expect_nothing_acts <- function(hostile, plain, typed) {
  tags <- function(html) {
    gsub("\"[^\"]*\"", "\"\"", regmatches(html, gregexpr("<[A-Za-z!/][^>]*>", html))[[1L]])
  }
  expect_identical(tags(hostile), tags(plain))
  file <- withr::local_tempfile(fileext = ".html")
  writeLines(hostile, file, useBytes = TRUE)
  expect_as_typed(html_text(file), typed)
}
