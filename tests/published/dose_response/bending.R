# Figures for curves that saturate unevenly or rise and fall, by R's nls, isoreg and lm.
#   Rscript bending.R      (R 4.2.2; writes gompertz.csv, hormesis.csv, bending.json here)
# Data: synthetic, own numbers, drawn once with the seed below and rounded.
set.seed(20251125)
dose <- rep(c(0, 0.5, 1, 1.5, 2, 2.5, 3, 4), each = 3)
rise <- round(28 + 34 * exp(-exp(-2.4 * (dose - 1.1))) + rnorm(24, 0, 1.2), 1)
g <- data.frame(dose, rise)
write.csv(g, "gompertz.csv", row.names = FALSE)
dose <- rep(c(0, 0.25, 0.5, 1, 1.5, 2, 3, 4, 6), each = 3)
height <- round(22 + (30 + 28 * dose) / (1 + (dose / 1.8)^4) + rnorm(27, 0, 1.4), 1)
h <- data.frame(dose, height)
write.csv(h, "hormesis.csv", row.names = FALSE)

tight <- nls.control(maxiter = 500, tol = 1e-7, minFactor = 1e-10)
one <- function(m) {
  s <- summary(m)
  list(estimate = as.list(coef(m)), se = as.list(s$coefficients[, 2]), rss = deviance(m), df = df.residual(m))
}
# Profile interval: where the residual sum, the rest fitted anew, reaches what F(1, df) allows.
ends <- function(rss_at, estimate, low, high, m) {
  limit <- deviance(m) * (1 + qf(0.95, 1, df.residual(m)) / df.residual(m))
  f <- function(v) rss_at(v) - limit
  c(uniroot(f, c(low, estimate), tol = 1e-10)$root, uniroot(f, c(estimate, high), tol = 1e-10)$root)
}
gm <- nls(rise ~ c + (d - c) * exp(-exp(b * (dose - e))), g, start = list(b = -2.4, c = 28, d = 62, e = 1.1), control = tight)
g_e <- ends(function(v) deviance(nls(rise ~ c + (d - c) * exp(-exp(b * (dose - v))), g,
  start = list(b = -2.4, c = 28, d = 62), control = tight)), coef(gm)["e"], 0.9, 1.3, gm)
hm <- nls(height ~ c + (d - c + f * dose) / (1 + (dose / e)^b), h, start = list(b = 4, c = 22, d = 52, e = 1.8, f = 28), control = tight)
h_e <- ends(function(v) deviance(nls(height ~ c + (d - c + f * dose) / (1 + (dose / v)^b), h,
  start = list(b = 4, c = 22, d = 52, f = 28), control = tight)), coef(hm)["e"], 1.5, 2.1, hm)
p <- as.list(coef(hm))
top <- optimize(function(x) p$c + (p$d - p$c + p$f * x) / (1 + (x / p$e)^p$b), c(0.1, 3), maximum = TRUE, tol = 1e-10)$maximum

iso <- isoreg(g$dose, g$rise)
lines <- c(
  sprintf('  "gompertz": {"b": %.12g, "c": %.12g, "d": %.12g, "e": %.12g,', coef(gm)["b"], coef(gm)["c"], coef(gm)["d"], coef(gm)["e"]),
  sprintf('    "se_b": %.10g, "se_e": %.10g, "rss": %.12g, "df": %d, "profile_e": [%.10g, %.10g]},', one(gm)$se$b, one(gm)$se$e, deviance(gm), df.residual(gm), g_e[1], g_e[2]),
  sprintf('  "hormesis": {"b": %.12g, "c": %.12g, "d": %.12g, "e": %.12g, "f": %.12g,', p$b, p$c, p$d, p$e, p$f),
  sprintf('    "se_e": %.10g, "se_f": %.10g, "rss": %.12g, "df": %d, "profile_e": [%.10g, %.10g], "top": %.9g},', one(hm)$se$e, one(hm)$se$f, deviance(hm), df.residual(hm), h_e[1], h_e[2], top)
)
# Monotone: means of the doses, isotonic with equal weights (three bakes each).
means <- tapply(g$rise, g$dose, mean)
mono <- isoreg(as.numeric(names(means)), means)$yf
lines <- c(lines, sprintf('  "monotone": {"gompertz": [%s], "rss": %.12g},', paste(sprintf("%.12g", mono), collapse = ", "),
  sum((g$rise - mono[match(g$dose, as.numeric(names(means)))])^2)))
# Smooth: R's natural spline through a knot at every dose, penalised by the integral of the squared second
# derivative; smoothness by REML of the equivalent mixed model (profiled over lambda on a fine search).
library(splines)
smooth_reml <- function(x, y) {
  k <- sort(unique(x)); n <- length(k); hh <- diff(k)
  Q <- matrix(0, n, n - 2); R <- matrix(0, n - 2, n - 2)
  for (j in 2:(n - 1)) {
    Q[j - 1, j - 1] <- 1 / hh[j - 1]; Q[j, j - 1] <- -1 / hh[j - 1] - 1 / hh[j]; Q[j + 1, j - 1] <- 1 / hh[j]
    R[j - 1, j - 1] <- (hh[j - 1] + hh[j]) / 3
    if (j < n - 1) R[j - 1, j] <- R[j, j - 1] <- hh[j] / 6
  }
  K <- Q %*% solve(R, t(Q))                       # Green & Silverman 1994, ch. 2
  X <- outer(x, k, "==") * 1
  F <- cbind(1, x)
  crit <- function(loglambda) {                   # -2 restricted log likelihood, sigma profiled out
    e <- eigen(K, symmetric = TRUE); pos <- seq_len(n - 2)
    Z <- X %*% e$vectors[, pos] %*% diag(1 / sqrt(e$values[pos]))
    V <- diag(length(y)) + Z %*% t(Z) / exp(loglambda)
    Vi <- solve(V); P <- Vi - Vi %*% F %*% solve(t(F) %*% Vi %*% F, t(F) %*% Vi)
    df <- length(y) - 2
    as.numeric(determinant(V)$modulus + determinant(t(F) %*% Vi %*% F)$modulus + df * log(t(y) %*% P %*% y / df))
  }
  best <- optimize(crit, c(-15, 10), tol = 1e-10)$minimum
  A <- solve(t(X) %*% X + exp(best) * K, t(X))
  list(lambda = exp(best), fit = as.numeric(A %*% y), edf = sum(diag(X %*% A)), x = k)
}
s <- smooth_reml(h$dose, h$height)
# The same curve by the textbook basis: a natural interpolating spline through the fitted knots, between the doses.
between <- c(0.75, 1.25, 2.5, 5)
basis <- ns(s$x, knots = s$x[2:(length(s$x) - 1)], Boundary.knots = range(s$x), intercept = TRUE)
at <- as.numeric(predict(basis, between) %*% solve(basis, s$fit))
natural <- splinefun(s$x, s$fit, method = "natural")(between)
stopifnot(max(abs(at - natural)) < 1e-8)
lines <- c(lines,
  sprintf('  "smooth": {"lambda": %.8g, "edf": %.9g, "fit": [%s], "between": [%s], "at": [%s]}', s$lambda, s$edf,
    paste(sprintf("%.10g", s$fit), collapse = ", "), paste(between, collapse = ", "), paste(sprintf("%.10g", at), collapse = ", ")))
writeLines(c("{", lines, "}"), "bending.json")
