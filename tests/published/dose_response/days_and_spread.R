# Figures for tests/published/test_dose_days.py, computed with R 4.2 (packages stats, nlme).
# Rscript days_and_spread.R  (in this folder) writes the two csv files and days_and_spread.json.
suppressMessages(library(nlme))
set.seed(20)
dose <- c(0.5, 1, 1.5, 2, 2.5, 3)
days <- data.frame(day = rep(paste0("d", 1:6), each = 6), dose = rep(dose, 6))
shift <- rnorm(6, 0, 2)
days$rise <- round(30 + shift[as.integer(factor(days$day))] + 20 / (1 + exp(6 - 4 * days$dose)) + rnorm(36, 0, 1), 2)
days <- days[-c(3, 10, 11, 22, 35), ]                       # some bakes were lost: not every day has every dose
write.csv(days, "random_days.csv", row.names = FALSE)
curve <- rise ~ a + h / (1 + exp(b2 - b3 * dose))
start <- c(a = 30, h = 20, b2 = 6, b3 = 4)
tight <- nlmeControl(tolerance = 1e-8, pnlsTol = 1e-6, msTol = 1e-12, minScale = 1e-10, maxIter = 500, msMaxIter = 500)
fitted <- function(method) nlme(curve, data = days, fixed = a + h + b2 + b3 ~ 1, random = a ~ 1 | day, start = start,
                                method = method, control = tight)
ml <- fitted("ML")
# nlme's own method = "REML" keeps the ratio of the ML fit, so REML is found here by lme on the model
# linearised at the last coefficients, over and over (Lindstrom & Bates 1990).
beta <- fixef(ml)
for (i in 1:100) {
  e <- with(as.list(beta), 1 / (1 + exp(b2 - b3 * days$dose))); h <- beta["h"]
  x <- cbind(a = 1, h = e, b2 = -h * e * (1 - e), b3 = h * e * (1 - e) * days$dose)
  days$w <- days$rise - (beta["a"] + h * e) + drop(x %*% beta)
  linear <- lme(w ~ x - 1, data = days, random = ~ 1 | day, method = "REML",
                control = lmeControl(msTol = 1e-14, tolerance = 1e-12, msMaxIter = 500))
  if (max(abs(fixef(linear) - beta)) < 1e-10) break
  beta <- setNames(fixef(linear), names(beta))
}
line <- lme(rise ~ dose + I(dose^2), data = days, random = ~ 1 | day, method = "REML",
            control = lmeControl(msTol = 1e-12, tolerance = 1e-12))
power <- data.frame(dose = rep(c(0.5, 1, 1.5, 2, 2.5, 3), each = 5))
mean_power <- 8 + 40 / (1 + exp(5 - 3 * power$dose))
power$rise <- round(mean_power + rnorm(30, 0, 0.06 * mean_power), 3)
power$pieces <- rep(1:5, 6)
write.csv(power, "unequal_spread.csv", row.names = FALSE)
spread <- gnls(curve, data = power, start = c(a = 8, h = 40, b2 = 5, b3 = 3), weights = varPower(),
               control = gnlsControl(tolerance = 1e-8, nlsTol = 1e-5, msTol = 1e-12, minScale = 1e-10, maxIter = 500))
equal <- gnls(curve, data = power, start = c(a = 8, h = 40, b2 = 5, b3 = 3))
weighted <- nls(curve, data = power, start = coef(equal), weights = pieces, control = nls.control(tol = 1e-7))
num <- function(x) format(as.numeric(x), digits = 12)
row <- function(x) paste0("[", paste(num(x), collapse = ", "), "]")
vars <- function(m) c(as.numeric(as.matrix(m$modelStruct$reStruct[[1]])), 1) * m$sigma^2
cat(sprintf('{
  "reml": {"coef": %s, "vcov_diag": %s, "variances": %s},
  "ml": {"coef": %s, "variances": %s, "loglik": %s},
  "quadratic_reml": {"coef": %s, "se": %s, "variances": %s},
  "power": {"coef": %s, "se": %s, "exponent": %s, "sigma": %s, "loglik": %s, "loglik_equal": %s},
  "weighted": {"coef": %s, "se": %s}
}\n', row(fixef(linear)), row(diag(vcov(linear))), row(vars(linear)), row(fixef(ml)), row(vars(ml)), num(logLik(ml)),
  row(fixef(line)), row(sqrt(diag(vcov(line)))), row(vars(line)),
  row(coef(spread)), row(sqrt(diag(vcov(spread)))), num(coef(spread$modelStruct$varStruct)), num(spread$sigma),
  num(logLik(spread)), num(logLik(equal)), row(coef(weighted)), row(summary(weighted)$coefficients[, 2])),
  file = "days_and_spread.json")
