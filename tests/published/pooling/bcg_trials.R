# Thirteen trials of a vaccine (Colditz et al. 1994, JAMA 271, 698-702): log risk ratios pooled in base R.
# Restricted likelihood by optimize and, as a second way, by Fisher scoring; Hartung-Knapp interval; Q profile.
# Rscript bcg_trials.R > bcg_trials.json
d <- read.csv("bcg_trials.csv")
y <- log((d$tpos / (d$tpos + d$tneg)) / (d$cpos / (d$cpos + d$cneg)))
v <- 1 / d$tpos - 1 / (d$tpos + d$tneg) + 1 / d$cpos - 1 / (d$cpos + d$cneg)
k <- length(y)
rll <- function(t2) {
  w <- 1 / (v + t2); mu <- sum(w * y) / sum(w)
  -0.5 * (sum(log(v + t2)) + log(sum(w)) + sum(w * (y - mu)^2))
}
one <- optimize(rll, c(0, 10), maximum = TRUE, tol = 1e-14)$maximum
t2 <- 0.1
for (i in 1:500) {
  w <- diag(1 / (v + t2)); x <- matrix(1, k, 1)
  p <- w - w %*% x %*% solve(t(x) %*% w %*% x) %*% t(x) %*% w
  step <- (t(y) %*% p %*% p %*% y - sum(diag(p))) / sum(diag(p %*% p))
  t2 <- max(0, t2 + as.numeric(step))
}
stopifnot(abs(one - t2) < 1e-6)
w <- 1 / (v + t2); mu <- sum(w * y) / sum(w)
hk <- sum(w * (y - mu)^2) / (k - 1)
se <- sqrt(hk / sum(w)); half <- qt(0.975, k - 1) * se
q <- function(t2) { w <- 1 / (v + t2); sum(w * (y - sum(w * y) / sum(w))^2) }
low <- uniroot(function(z) q(z) - qchisq(0.975, k - 1), c(0, 10), tol = 1e-14)$root
high <- uniroot(function(z) q(z) - qchisq(0.025, k - 1), c(0, 10), tol = 1e-14)$root
nxt <- qt(0.975, k - 2) * sqrt(se^2 + t2)
say <- function(n, x) sprintf('  "%s": %s', n, if (length(x) > 1) paste0("[", paste(format(x, digits = 15), collapse = ", "), "]") else format(x, digits = 15))
cat("{\n", paste(c(
  say("y", y), say("v", v), say("tau2", t2), say("mu", mu), say("hk_factor", hk), say("se", se),
  say("low", mu - half), say("high", mu + half), say("q", q(0)), say("tau2_low", low), say("tau2_high", high),
  say("next_low", mu - nxt), say("next_high", mu + nxt)), collapse = ",\n"), "\n}\n", sep = "")
