# Archives: partitions of readings on disk or in a database, restartable, nothing twice.
archive_readings <- function(coils = 7, seed = 1) {
  with_test_seed(seed, do.call(rbind, lapply(seq_len(coils), function(i) {
    cbind(coil = sprintf("c%02d", i), made_readings(sd_step = 1, q = 120 + 5 * i, n = 2))
  })))
}

# One file a coil, or `each` coils in one.
write_partitions <- function(d, folder, each = 1L, write = function(x, path) {
  utils::write.csv(format_exactly(x), path, row.names = FALSE)
}, ext = "csv") {
  dir.create(folder)
  coils <- unique(d$coil)
  for (part in split(coils, (seq_along(coils) - 1L) %/% each)) {
    write(d[d$coil %in% part, ], file.path(folder, paste0(part[1L], ".", ext)))
  }
  folder
}

# All digits, so that the file holds the very numbers.
format_exactly <- function(x) {
  number <- vapply(x, is.double, NA)
  x[number] <- lapply(x[number], sprintf, fmt = "%.17g")
  x
}

quiet_archive <- function(...) {
  withCallingHandlers(fit_archive(...),
                      softanneal_warning_fit = function(w) stop("a warning of one group escaped"))
}

expect_same_table <- function(a, b) {
  rownames(a) <- rownames(b) <- NULL
  expect_identical(a, b)
}

test_that("a folder of partitions gives the table of fit_each()", {
  d <- archive_readings()
  want <- as.data.frame(suppressWarnings(fit_each(d, coil)))
  for (each in c(1L, 3L, 7L)) {
    folder <- write_partitions(d, withr::local_tempfile(), each)
    out <- withr::local_tempfile()
    archive <- quiet_archive(folder, out, by = coil)
    expect_same_table(as.data.frame(archive), want)
    expect_equal(sum(archive$manifest$groups), 7L)
    expect_equal(sum(archive$manifest$rows), nrow(d))
    expect_true(all(archive$manifest$version == PACKAGE_VERSION))
    expect_true(file.exists(file.path(out, "manifest.csv")))
    expect_output(print(archive), "7 groups by coil")
    expect_same_table(as.data.frame(read_archive(out)), want)
    expect_length(list.files(out, "tmp$"), 0L)
  }
  csv <- quiet_archive(folder, withr::local_tempfile(), by = coil, format = "csv")
  expect_equal(as.data.frame(csv)$q_kj_mol, want$q_kj_mol, tolerance = 1e-15)
  # the metal of each group from a column: one table a metal, as in one call
  d$metal <- ifelse(d$coil == d$coil[1L], "brass", "copper")
  folder <- write_partitions(d, withr::local_tempfile(), 3L)
  metals <- suppressWarnings(fit_archive(folder, withr::local_tempfile(), by = coil, material = "metal"))
  expect_same_table(as.data.frame(metals),
                    as.data.frame(suppressWarnings(fit_each(d, coil, material = metal))))
  model <- quiet_archive(folder, withr::local_tempfile(), by = coil, se = "model", temp_ref_c = 330)
  expect_equal(as.data.frame(model)$se_n,
               as.data.frame(suppressWarnings(fit_each(d, coil, se = "model", temp_ref_c = 330)))$se_n)
})

test_that("parquet partitions and results", {
  skip_if_not_installed("nanoparquet")
  d <- archive_readings(3)
  folder <- write_partitions(d, withr::local_tempfile(), 1L, nanoparquet::write_parquet, "parquet")
  archive <- quiet_archive(folder, withr::local_tempfile(), by = coil, format = "parquet")
  expect_same_table(as.data.frame(archive), as.data.frame(suppressWarnings(fit_each(d, coil))))
  d$rolled <- structure(19780L + as.integer(factor(d$coil)), class = "Date") # in whole days
  dated <- write_partitions(d, withr::local_tempfile(), 2L, nanoparquet::write_parquet, "parquet")
  nanoparquet::write_parquet(d[0, ], file.path(dated, "z.parquet"))
  for (format in c("parquet", "rds")) {
    archive <- quiet_archive(dated, withr::local_tempfile(), by = c(coil, rolled), format = format)
    expect_same_table(as.data.frame(archive),
                      as.data.frame(suppressWarnings(fit_each(d, c(coil, rolled)))))
    expect_equal(archive$manifest$groups, c(2L, 1L, 0L))
  }
})

test_that("a query in key order, with groups across the cuts", {
  skip_on_cran()
  skip_if_not_installed("RSQLite")
  d <- archive_readings()
  want <- as.data.frame(suppressWarnings(fit_each(d, coil)))
  db <- DBI::dbConnect(RSQLite::SQLite(), ":memory:")
  withr::defer(DBI::dbDisconnect(db))
  DBI::dbWriteTable(db, "readings", d)
  query <- "SELECT * FROM readings ORDER BY coil"
  for (rows in c(1, 20, 36, 100, 1e6)) {
    archive <- quiet_archive(db, withr::local_tempfile(), by = coil, query = query, chunk_rows = rows)
    expect_same_table(as.data.frame(archive), want)
    expect_equal(sum(archive$manifest$rows), nrow(d))
  }
  out <- withr::local_tempfile()
  first <- quiet_archive(db, out, by = coil, query = query, chunk_rows = 50)
  unlink(file.path(out, "part-000002.rds"))
  again <- quiet_archive(db, out, by = coil, query = query, chunk_rows = 50)
  expect_same_table(as.data.frame(again), want)
  expect_error(fit_archive(db, withr::local_tempfile(), by = coil, chunk_rows = 1e6,
                           query = "SELECT * FROM readings ORDER BY time_min"),
               class = "softanneal_error_duplicate")
  expect_identical(sql_name(c("coil", "lot no. \"1\"")), c("coil", "\"lot no. \"\"1\"\"\""))
  DBI::dbExecute(db, "DELETE FROM readings WHERE coil = 'c01' AND time_min = 64")
  unlink(file.path(out, "part-000003.rds"))
  expect_error(fit_archive(db, out, by = coil, query = query, chunk_rows = 50),
               class = "softanneal_error_file")
  whole <- withr::local_tempfile()
  quiet_archive(db, whole, by = coil, query = query, chunk_rows = 50)
  DBI::dbExecute(db, "UPDATE readings SET hardness = hardness + 1 WHERE coil = 'c02'")
  expect_error(fit_archive(db, whole, by = coil, query = query, chunk_rows = 50),
               "which the query now gives", class = "softanneal_error_file")
  DBI::dbExecute(db, "UPDATE readings SET hardness = hardness - 1 WHERE coil = 'c02'")
  DBI::dbExecute(db, "DELETE FROM readings WHERE coil > 'c04'")
  expect_error(fit_archive(db, whole, by = coil, query = query, chunk_rows = 50),
               class = "softanneal_error_file")
})

test_that("a PostgreSQL query gives the same", {
  skip_if_not_installed("RPostgres")
  initdb <- Sys.glob("/usr/lib/postgresql/*/bin/initdb")
  skip_if(length(initdb) == 0L || Sys.which("runuser") == "", "no PostgreSQL server at hand")
  withr::local_envvar(LD_PRELOAD = NA) # a checker of this process is not for the server
  bin <- dirname(initdb[length(initdb)])
  home <- tempfile("pg", "/tmp")
  dir.create(home, mode = "0777")
  Sys.chmod(home, "0777", use_umask = FALSE)
  cluster <- file.path(home, "data")
  user <- if (Sys.info()[["user"]] == "root") c("runuser", "-u", "postgres", "--") else character()
  run <- function(...) system2(c(user, "env")[1L], c(c(user, "env")[-1L], ...), stdout = FALSE,
                               stderr = FALSE)
  withr::defer(unlink(home, recursive = TRUE))
  skip_if(run(file.path(bin, "initdb"), "-D", cluster, "-A", "trust", "-U", "tester") != 0,
          "PostgreSQL cannot make a cluster")
  withr::defer(run(file.path(bin, "pg_ctl"), "-D", cluster, "-m", "immediate", "stop"),
               priority = "first")
  port <- 40000L + Sys.getpid() %% 20000L
  options <- shQuote(paste0("-p ", port, " -k ", home, " -c listen_addresses=127.0.0.1"))
  skip_if(run(file.path(bin, "pg_ctl"), "-D", cluster, "-w", "-l", file.path(home, "log"), "-o",
              options, "start") != 0, "PostgreSQL does not start")
  db <- DBI::dbConnect(RPostgres::Postgres(), host = "127.0.0.1", port = port,
                       user = "tester", dbname = "postgres")
  withr::defer(DBI::dbDisconnect(db), priority = "first")
  d <- archive_readings(5)
  # as text with all digits: the driver itself writes numbers with 15
  DBI::dbWriteTable(db, "exact", format_exactly(d), row.names = FALSE)
  columns <- ifelse(vapply(d, is.double, NA), paste0(names(d), "::double precision"), names(d))
  DBI::dbExecute(db, paste("CREATE TABLE readings AS SELECT", toString(columns), "FROM exact"))
  want <- as.data.frame(suppressWarnings(fit_each(d, coil)))
  for (rows in c(50, 1e6)) {
    archive <- quiet_archive(db, withr::local_tempfile(), by = coil, chunk_rows = rows,
                             query = "SELECT * FROM readings ORDER BY coil COLLATE \"C\"")
    expect_same_table(as.data.frame(archive), want)
  }
})

test_that("killed half-way and run again: the same table, nothing twice", {
  skip_on_os("windows")
  d <- archive_readings(12)
  folder <- write_partitions(d, withr::local_tempfile())
  want <- as.data.frame(suppressWarnings(fit_each(d, coil)))
  out <- withr::local_tempfile()
  slow <- function(path) {
    Sys.sleep(0.15)
    utils::read.csv(path)
  }
  job <- parallel::mcparallel(fit_archive(folder, out, by = coil, reader = slow))
  deadline <- Sys.time() + 20
  while (length(list.files(out, "rds$")) < 4L && Sys.time() < deadline) Sys.sleep(0.02)
  tools::pskill(job$pid, tools::SIGKILL)
  suppressWarnings(parallel::mccollect(job))
  done <- list.files(out, "^part.*rds$")
  expect_gte(length(done), 4L)
  expect_lt(length(done), 12L)
  before <- file.mtime(file.path(out, done))
  read <- character()
  archive <- quiet_archive(folder, out, by = coil, reader = function(path) {
    read <<- c(read, basename(path))
    utils::read.csv(path)
  })
  expect_same_table(as.data.frame(archive), want)
  expect_equal(file.mtime(file.path(out, done)), before)
  expect_length(read, 12L - length(done))
  expect_equal(anyDuplicated(as.data.frame(archive)$coil), 0L)
  expect_equal(nrow(archive$manifest), 12L)
})

test_that("pieces of a job array fill one archive", {
  d <- archive_readings(4)
  folder <- write_partitions(d, withr::local_tempfile())
  out <- withr::local_tempfile()
  for (k in c(3, 1, 4, 2)) archive <- quiet_archive(folder, out, by = coil, part = k)
  expect_same_table(as.data.frame(archive), as.data.frame(suppressWarnings(fit_each(d, coil))))
  expect_error(fit_archive(folder, out, by = coil, part = 9), class = "softanneal_error_range")
})

test_that("bad calls and bad folders are refused", {
  d <- archive_readings(3)
  folder <- write_partitions(d, withr::local_tempfile())
  out <- withr::local_tempfile()
  quiet_archive(folder, out, by = coil)
  expect_error(fit_archive(folder, out, by = coil, se = "model"), class = "softanneal_error_file")
  expect_error(fit_archive(folder, out, by = coil, modle = 1), class = "softanneal_error_argument")
  expect_error(fit_archive(folder, out), class = "softanneal_error_argument")
  for (name in c("a, b", "a\nb")) {
    expect_error(fit_archive(folder, out, by = !!name), "cannot be named",
                 class = "softanneal_error_argument")
  }
  expect_error(fit_archive(folder, out, by = coil, reader = "csv"), class = "softanneal_error_argument")
  expect_error(fit_archive(withr::local_tempfile(), out, by = coil), class = "softanneal_error_file")
  expect_error(fit_archive(3, out, by = coil), class = "softanneal_error_argument")
  expect_error(read_archive(folder), class = "softanneal_error_file")
  expect_error(fit_archive(folder, withr::local_tempfile(), by = coil, reader = function(path) stop("no")),
               class = "softanneal_error_file")
  utils::write.csv(d[d$coil == "c01", ], file.path(folder, "z.csv"), row.names = FALSE)
  expect_error(fit_archive(folder, withr::local_tempfile(), by = coil),
               class = "softanneal_error_duplicate")
})
