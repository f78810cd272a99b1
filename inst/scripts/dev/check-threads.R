# A batch with threads = 2 in a fresh R under limits of addresses (ulimit -v), of the stack of a thread
# (ulimit -s) and of processes of a user (RLIMIT_NPROC, as nobody): the numbers of one thread, a classed
# error, or R itself does not start. Never may the batch end R. Run by hand, package installed; limits of
# processes need root, setpriv and prlimit:
#   Rscript inst/scripts/dev/check-threads.R
child <- tempfile(fileext = ".R")
writeLines(c(
  "tryCatch(loadNamespace('utils'), error = function(e) quit(status = 1L)) # it starts a process itself",
  "x <- tryCatch({",
  "  suppressMessages(library(softanneal))",
  "  bell <- as.data.frame(example_data('bellbrass_readings'))",
  "  many <- do.call(rbind, lapply(1:6, function(i) cbind(coil = i, bell)))",
  "  cat('started\\n')",
  "  a <- withCallingHandlers(fit_each(many, coil, threads = 2), softanneal_message_threads =",
  "    function(m) { cat('told\\n'); invokeRestart('muffleMessage') })",
  "  if (identical(as.data.frame(a), as.data.frame(fit_each(many, coil)))) 'same' else 'differs'",
  "}, softanneal_error = function(e) 'refused', error = function(e) conditionMessage(e))",
  "cat('end:', x, '\\n')"), child)
Sys.chmod(child, "0644")
Sys.chmod(dirname(child), "0755")
# R itself without its script, which starts other processes
run <- function(limit, before = "") {
  said <- suppressWarnings(system2("sh", c("-c", shQuote(paste(
    limit, "exec", before, shQuote(file.path(R.home("bin"), "exec", "R")), "--vanilla --no-echo -f",
    shQuote(child)))),
    stdout = TRUE, stderr = TRUE, env = paste0("R_LIBS=", paste(.libPaths(), collapse = ":"))))
  end <- sub("^end: *(.*[^ ]) *$", "\\1", grep("^end:", said, value = TRUE))
  if (length(end) == 0L) end <- if ("started" %in% said) "ENDED R" else "R does not start"
  # memory that R has not got is R's own error, and R goes on
  if (startsWith(end[1L], "cannot allocate")) end <- "no memory"
  c(end[1L], if ("told" %in% said) "told" else "")
}
ends <- list()
for (mb in c(200, 250, 300, 400, 600, 800, 1000, 1500, 2000, 3000)) {
  ends[[paste("ulimit -v", mb, "MB")]] <- run(sprintf("ulimit -v %d;", mb * 1024))
}
for (mb in c(1000, 2000, 4000)) {
  limit <- sprintf("ulimit -s %d; ulimit -v 3000000;", mb * 1000)
  ends[[paste("stacks of", mb, "MB in 3 GB")]] <- run(limit)
}
is_root <- identical(unname(Sys.info()["effective_user"]), "root")
if (is_root && all(nzchar(Sys.which(c("setpriv", "prlimit"))))) {
  for (n in c(1, 2, 3, 5)) {
    ends[[paste("RLIMIT_NPROC", n)]] <- run("", sprintf(
      "prlimit --nproc=%d setpriv --reuid=65534 --regid=65534 --clear-groups", n))
  }
}
table <- do.call(rbind, ends)
colnames(table) <- c("end", "fewer threads")
print(table, quote = FALSE)
bad <- !table[, 1L] %in% c("same", "refused", "R does not start", "no memory")
cat(nrow(table), "tries,", sum(bad), "wrong\n")
quit(status = as.integer(any(bad)))
