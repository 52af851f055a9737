# How often do charts whose limits were estimated call a process falsely that does not change?
# Run: Rscript estimated_limits.R > estimated_limits.json   (R 4.2.2, base functions; about a minute)
# next_point: chance that one further point lies outside. any_of_25: share of charts of 25 points, judged by
# limits made from the same points, with a point outside, or with eight on one side as well.
set.seed(20261126)
reps <- 200000
d2 <- c(1.128379167, NA, NA, 2.325928947)  # of 2 and of 5 (ASTM E2587)
outside <- function(centre, sd, true) mean(pnorm(centre - 3 * sd, 0, true) + pnorm(centre + 3 * sd, 0, true, lower.tail = FALSE))
single <- function(k) {
  x <- matrix(rnorm(reps * k), reps)
  sd <- rowMeans(abs(x[, -1] - x[, -k])) / d2[1]
  outside(rowMeans(x), sd, 1)
}
means <- function(k, n = 5) {
  range <- matrix(0, reps, k); centre <- numeric(reps)
  for (i in seq_len(k)) {
    x <- matrix(rnorm(reps * n), reps)
    centre <- centre + rowMeans(x) / k
    range[, i] <- do.call(pmax, as.data.frame(x)) - do.call(pmin, as.data.frame(x))
  }
  outside(centre, rowMeans(range) / d2[4] / sqrt(n), 1 / sqrt(n))
}
retrospective <- function(k = 25) {
  x <- matrix(rnorm(reps * k), reps)
  z <- (x - rowMeans(x)) / (rowMeans(abs(x[, -1] - x[, -k])) / d2[1])
  out <- apply(abs(z) > 3, 1, any)
  run <- apply(sign(z), 1, function(s) { r <- rle(s); any(r$lengths >= 8 & r$values != 0) })
  c(mean(out), mean(out | run))
}
both <- retrospective()
cat(sprintf('{"individuals": {"10": %.6f, "20": %.6f, "50": %.6f},\n "range_of_5": {"10": %.6f, "25": %.6f},\n "any_of_25": {"outside": %.6f, "both": %.6f}}\n',
            single(10), single(20), single(50), means(10), means(25), both[1], both[2]))
