# Fits the crossed model to a CSV of runs with lme4, derivative check off, and prints one JSON line.
# usage: Rscript fit_lme4.R runs.csv REPEATS
arguments <- commandArgs(TRUE)
suppressPackageStartupMessages(library(lme4))
runs <- read.csv(arguments[1])
for (name in c("steel", "tester", "sharpener", "blade", "cell")) runs[[name]] <- factor(runs[[name]])
best <- c(Inf, Inf)
for (i in seq_len(as.integer(arguments[2]))) {
  before <- proc.time()
  fit <- suppressMessages(suppressWarnings(lmer(
    y ~ 0 + steel + (1 | tester) + (1 | sharpener) + (1 | blade) + (1 | cell), runs,
    REML = TRUE, control = lmerControl(calc.derivs = FALSE)
  )))
  spent <- proc.time() - before
  best <- pmin(best, c(spent[["elapsed"]], spent[["user.self"]] + spent[["sys.self"]]))
}
peak <- grep("VmHWM", readLines("/proc/self/status"), value = TRUE)
blas <- basename(extSoftVersion()[["BLAS"]])
cat(sprintf(
  '{"wall": %.4f, "cpu": %.4f, "peak_mb": %.0f, "log_likelihood": %.9f, "evaluations": %d, "versions": "R %s, lme4 %s, %s"}\n',
  best[1], best[2], as.numeric(gsub("[^0-9]", "", peak)) / 1024, as.numeric(logLik(fit)), fit@optinfo$feval,
  paste(R.version$major, R.version$minor, sep = "."), as.character(packageVersion("lme4")), blas
))
