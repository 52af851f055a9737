# Figures for weighted, robust, transformed and covariate-adjusted linear models.
# R 4.2.2 with MASS, emmeans. Run in this folder: Rscript linear_depth.R
# The loaves are invented; R computed every figure.
suppressMessages({library(MASS); library(emmeans)})
options(digits = 15)
set.seed(20261125)
d <- expand.grid(flour = c("rye", "wheat", "spelt"), fat = c("butter", "oil"), rep = 1:5)
d$temperature <- round(rnorm(nrow(d), 24, 2), 1)
d$pieces <- sample(1:6, nrow(d), TRUE)
base <- c(rye = 30, wheat = 45, spelt = 70)[as.character(d$flour)] * ifelse(d$fat == "oil", 1.2, 1)
d$volume <- round(base * exp(0.02 * (d$temperature - 24) + rnorm(nrow(d), 0, 0.12)), 2)
d <- d[-c(4, 17), ]
write.csv(d[, c("flour", "fat", "temperature", "pieces", "volume")], "loaf_depth.csv", row.names = FALSE)
options(contrasts = c("contr.sum", "contr.poly"))
d$flour <- factor(d$flour); d$fat <- factor(d$fat)
rows <- function(x) lapply(split(x, seq_len(nrow(x))), as.list)
out <- list()

# Covariance analysis: adjusted means, slope, type 2 by comparison of models.
fit <- lm(volume ~ temperature + flour * fat, d)
e <- as.data.frame(summary(emmeans(fit, "flour"), infer = TRUE))
out$ancova <- list(slope = unname(coef(summary(fit))["temperature", ]),
                   ci = unname(confint(fit)["temperature", ]),
                   mean_temperature = mean(d$temperature), means = rows(e[, c("flour", "emmean", "SE", "df", "lower.CL", "upper.CL")]),
                   f_flour = anova(lm(volume ~ temperature + fat, d), lm(volume ~ temperature + flour + fat, d))$"Sum of Sq"[2],
                   sigma2 = summary(fit)$sigma^2)
moved <- lm(temperature ~ flour * fat, d)
out$ancova$moved_p <- unname(anova(lm(temperature ~ 1, d), moved)$"Pr(>F)"[2])

# Weighted least squares.
fit <- lm(volume ~ flour * fat, d, weights = pieces)
e <- as.data.frame(summary(emmeans(fit, "flour"), infer = TRUE))
a <- anova(lm(volume ~ flour + fat, d, weights = pieces), fit)
out$weighted <- list(sigma2 = summary(fit)$sigma^2, r_squared = summary(fit)$r.squared, df = fit$df.residual,
                     means = rows(e[, c("flour", "emmean", "SE", "df", "lower.CL", "upper.CL")]), f_interaction = a$F[2], p_interaction = a$"Pr(>F)"[2])

# HC2 of a model with a covariate: standard errors by the formula.
fit <- lm(volume ~ temperature + flour + fat, d)
x <- model.matrix(fit); h <- hatvalues(fit); r <- residuals(fit)
b <- solve(crossprod(x)); m <- crossprod(x * (r / sqrt(1 - h)))
v <- b %*% m %*% b
l <- x %*% b %*% c(0, 1, 0, 0, 0)  # pull on the slope
left <- diag(nrow(x)) - x %*% b %*% t(x)
w <- as.vector(l^2 / (1 - h))
df <- sum(w * diag(left))^2 / sum((w %o% w) * left^2)
out$hc2 <- list(slope = unname(coef(fit)["temperature"]), se = sqrt(v[2, 2]), df = df)

# Box and Cox for the two-way model.
bc <- boxcox(lm(volume ~ flour * fat, d), lambda = seq(-3, 3, 0.0005), plotit = FALSE)
ok <- bc$x[bc$y > max(bc$y) - qchisq(0.95, 1) / 2]
out$box_cox <- list(best = bc$x[which.max(bc$y)], low = min(ok), high = max(ok))

# On logarithms: medians and ratios.
fit <- lm(log(volume) ~ flour * fat, d)
e <- as.data.frame(summary(emmeans(fit, "flour", type = "response"), infer = TRUE))
p <- as.data.frame(summary(pairs(emmeans(fit, "fat"), reverse = TRUE), infer = TRUE))
out$log <- list(means = rows(e[, c("flour", "response", "lower.CL", "upper.CL")]), fat = exp(c(p$estimate, p$lower.CL, p$upper.CL)), fat_p = p$p.value)

# Welch and Games-Howell for one factor.
o <- oneway.test(volume ~ flour, d)
s <- tapply(d$volume, d$flour, var); n <- tapply(d$volume, d$flour, length); y <- tapply(d$volume, d$flour, mean)
gh <- function(i, j) {
  q <- s[i] / n[i] + s[j] / n[j]
  df <- q^2 / ((s[i] / n[i])^2 / (n[i] - 1) + (s[j] / n[j])^2 / (n[j] - 1))
  k <- qtukey(0.95, 3, df) / sqrt(2)
  c(y[i] - y[j], y[i] - y[j] - k * sqrt(q), y[i] - y[j] + k * sqrt(q), df, ptukey(abs(y[i] - y[j]) / sqrt(q) * sqrt(2), 3, df, lower.tail = FALSE))
}
out$welch <- list(f = unname(o$statistic), df = unname(o$parameter), p = o$p.value,
                  games_howell = list(`wheat-rye` = unname(gh("wheat", "rye")), `spelt-wheat` = unname(gh("spelt", "wheat"))))

# Shapiro and Wilk for readings of several lengths.
z <- list(short = d$volume[1:9], middle = d$volume[1:11], long = d$volume)
out$shapiro <- lapply(z, function(v) { t <- shapiro.test(v); list(w = unname(t$statistic), p = t$p.value) })

# Which bake moves an effect: dfbeta of the slope, externally studentised residuals.
fit <- lm(volume ~ temperature + flour + fat, d)
out$influence <- list(dfbeta_slope = unname(dfbeta(fit)[, "temperature"]), rstudent = unname(rstudent(fit)))

json <- function(x) {
  if (is.list(x)) {
    if (is.null(names(x))) return(paste0("[", paste(sapply(x, json), collapse = ", "), "]"))
    return(paste0("{", paste(sprintf('"%s": %s', names(x), sapply(x, json)), collapse = ", "), "}"))
  }
  v <- if (is.numeric(x)) format(x, digits = 15, trim = TRUE) else sprintf('"%s"', as.character(x))
  v <- sapply(seq_along(x), function(i) if (is.numeric(x)) format(x[i], digits = 15, trim = TRUE) else sprintf('"%s"', as.character(x[i])))
  if (length(v) == 1) v else paste0("[", paste(v, collapse = ", "), "]")
}
writeLines(json(list(expected = out)), "loaf_depth.json")
