# Figures of four made-up surfaces: saddle, rising ridge, blocks, an oven as a category. R 4.2.2, stats only.
# Run in this folder: Rscript surfaces.R. Coded settings are -1 and 1 at the corners.
set.seed(20261125)

canonical <- function(fit, names, extra = list()) {
  b <- coef(fit)
  k <- length(names)
  linear <- b[names]
  for (shift in extra) linear <- linear + shift
  B <- diag(b[paste0("I(", names, "^2)")], k)
  for (i in seq_len(k - 1)) for (j in (i + 1):k) {
    B[i, j] <- B[j, i] <- b[paste0(names[i], ":", names[j])] / 2
  }
  e <- eigen(B)
  list(point = solve(B, -linear / 2), values = e$values)
}
num <- function(x) paste0("[", paste(sprintf("%.12g", x), collapse = ", "), "]")
write_json <- function(name, parts) {
  body <- paste(sprintf("  \"%s\": %s", names(parts), unlist(parts)), collapse = ",\n")
  cat("{\n", body, "\n}\n", sep = "", file = paste0(name, ".json"))
}
at <- function(fit, new) predict(fit, new, interval = "confidence", level = 0.95)

ccd <- function(alpha, centre) rbind(expand.grid(a = c(-1, 1), b = c(-1, 1)),
  data.frame(a = c(-alpha, alpha, 0, 0), b = c(0, 0, -alpha, alpha)), data.frame(a = rep(0, centre), b = 0))

# 1. A saddle, settings in real units: soda 1.5 +- 0.5 % flour, oven 180 +- 10 degrees.
z <- ccd(sqrt(2), 5)
y <- round(50 + 1.0 * z$a - 0.8 * z$b + 3.0 * z$a^2 - 2.5 * z$b^2 + 1.2 * z$a * z$b + rnorm(nrow(z), 0, 0.4), 2)
soda <- round(1.5 + 0.5 * z$a, 6); oven <- round(180 + 10 * z$b, 6)
write.csv(data.frame(soda, oven, rise = y), "saddle_soda_oven.csv", row.names = FALSE)
d <- data.frame(a = (soda - 1.5) / 0.5, b = (oven - 180) / 10, y)
fit <- lm(y ~ a * b + I(a^2) + I(b^2), d)
s <- canonical(fit, c("a", "b"))
new <- data.frame(a = s$point[1], b = s$point[2])
write_json("saddle_soda_oven", list(stationary = num(c(1.5 + 0.5 * s$point[1], 180 + 10 * s$point[2])),
  eigenvalues = num(s$values), at_stationary = num(at(fit, new)), nature = "\"saddle\""))

# 2. A rising ridge in three amounts, Box-Behnken with three centre points.
pairs <- rbind(c(1, 2), c(1, 3), c(2, 3))
z <- do.call(rbind, lapply(1:3, function(p) {
  m <- matrix(0, 4, 3); m[, pairs[p, ]] <- as.matrix(expand.grid(c(-1, 1), c(-1, 1))); m }))
z <- rbind(z, matrix(0, 3, 3)); colnames(z) <- c("x1", "x2", "x3")
across <- (z[, 1] - z[, 2]) / sqrt(2); along <- (z[, 1] + z[, 2]) / sqrt(2)
y <- round(60 - 6 * across^2 + 4 * along + 0.4 * z[, 3] - 5 * z[, 3]^2 + rnorm(nrow(z), 0, 0.5), 2)
d <- data.frame(z, y)
write.csv(d, "rising_ridge.csv", row.names = FALSE)
fit <- lm(y ~ (x1 + x2 + x3)^2 + I(x1^2) + I(x2^2) + I(x3^2), d)
s <- canonical(fit, c("x1", "x2", "x3"))
# The best inside the hull of the bakes (|x| <= 1, sum of |x| <= 2), by many starts of a bounded search.
inside <- function(v) all(abs(v) <= 1 + 1e-9) && sum(abs(v)) <= 2 + 1e-9
g <- function(v) if (inside(v)) -predict(fit, data.frame(x1 = v[1], x2 = v[2], x3 = v[3])) else 1e3
grid <- expand.grid(x1 = seq(-1, 1, 0.01), x2 = seq(-1, 1, 0.01), x3 = seq(-0.4, 0.4, 0.01))
grid <- grid[rowSums(abs(grid)) <= 2 + 1e-9, ]
p <- predict(fit, grid)
write_json("rising_ridge", list(stationary = num(s$point), eigenvalues = num(s$values),
  best_on_grid = num(unlist(grid[which.max(p), ])), best_response_on_grid = num(max(p)),
  interval_on_grid = num(at(fit, grid[which.max(p), ])[2:3]), shape = "\"rising ridge\""))

# 3. A central composite in two blocks (days): corners with three centres, star points with three centres.
z <- ccd(sqrt(2), 6); day <- rep(c("first", "second"), c(4, 4)); day <- c(day, rep(c("first", "second"), each = 3))
y <- round(40 + 1.5 * z$a + 0.7 * z$b - 2.2 * z$a^2 - 1.4 * z$b^2 + 0.5 * z$a * z$b + 1.8 * (day == "second") +
  rnorm(nrow(z), 0, 0.3), 2)
d <- data.frame(x1 = round(z$a, 6), x2 = round(z$b, 6), day = factor(day), y)
write.csv(d, "ccd_in_blocks.csv", row.names = FALSE)
contrasts(d$day) <- contr.sum(2)
fit <- lm(y ~ day + x1 * x2 + I(x1^2) + I(x2^2), d)
s <- canonical(fit, c("x1", "x2"))
# The mean of both days at the stationary point.
row <- c(1, 0, s$point[1], s$point[2], s$point[1]^2, s$point[2]^2, prod(s$point))
est <- sum(row * coef(fit)); se <- sqrt(c(row %*% vcov(fit) %*% row)); t <- qt(0.975, fit$df.residual)
# Box and Hunter's criterion at two settings: g' V^-1 g / k.
criterion <- function(v) {
  D <- rbind(c(0, 0, 1, 0, 2 * v[1], 0, v[2]), c(0, 0, 0, 1, 0, 2 * v[2], v[1]))
  gr <- D %*% coef(fit); c(t(gr) %*% solve(D %*% vcov(fit) %*% t(D)) %*% gr) / 2 }
write_json("ccd_in_blocks", list(stationary = num(s$point), eigenvalues = num(s$values),
  at_stationary = num(c(est, est - t * se, est + t * se)), criterion_at_0_0 = num(criterion(c(0, 0))),
  criterion_at_half = num(criterion(c(0.5, 0.5))), f_95 = num(qf(0.95, 2, fit$df.residual)), nature = "\"maximum\""))

# 4. Two amounts and an oven as a category: each oven has its own slopes, both share the bends.
z <- ccd(1, 3); z <- rbind(z, z); oven <- rep(c("deck", "fan"), each = nrow(z) / 2)
fan <- oven == "fan"
y <- round(30 + z$a + 0.5 * z$b + fan * (2 - 1.6 * z$a + 0.4 * z$b) - 2 * z$a^2 - 1.5 * z$b^2 + 0.6 * z$a * z$b +
  rnorm(nrow(z), 0, 0.3), 2)
d <- data.frame(x1 = z$a, x2 = z$b, oven = factor(oven), y)
write.csv(d, "two_ovens.csv", row.names = FALSE)
fit <- lm(y ~ (x1 + x2 + oven)^2 + I(x1^2) + I(x2^2), d)
b <- coef(fit)
deck <- canonical(fit, c("x1", "x2"))
fan_one <- canonical(fit, c("x1", "x2"), list(b[c("x1:ovenfan", "x2:ovenfan")]))
levels_at <- function(point, oven) at(fit, data.frame(x1 = point[1], x2 = point[2], oven = oven))
write_json("two_ovens", list(deck = num(deck$point), fan = num(fan_one$point), eigenvalues = num(deck$values),
  at_deck = num(levels_at(deck$point, "deck")), at_fan = num(levels_at(fan_one$point, "fan"))))
