# Figures of test_scores.py that no published case carries: crossed groups, counts, Firth's penalty.
# R 4.2.2 with ordinal 2022.11-16, lme4 and MASS; run beside the csv files, writes scores_further.json to stdout.
suppressMessages({library(ordinal); library(lme4); library(MASS)})
num <- function(x) paste0("[", paste(sprintf("%.12g", x), collapse = ", "), "]")

# Assessors crossed with days, five-point scores: Laplace with tight inner steps.
crossed <- read.csv("assessors_days.csv")
crossed$score <- factor(crossed$score, ordered = TRUE)
m <- suppressWarnings(clmm(score ~ recipe + (1 | assessor) + (1 | day), data = crossed,
                           control = clmm.control(gradTol = 1e-8)))
m0 <- suppressWarnings(clmm(score ~ 1 + (1 | assessor) + (1 | day), data = crossed,
                            control = clmm.control(gradTol = 1e-8)))
v <- sapply(VarCorr(m), function(x) x[1, 1])

# Blisters counted on crackers: Poisson with residual scatter (quasi), with pieces as exposure.
counts <- read.csv("blisters.csv")
g <- glm(blisters ~ oven + hydration + offset(log(pieces)), family = quasipoisson, data = counts)
s <- summary(g)
a <- drop1(g, test = "F")
p <- glmer(blisters ~ oven + hydration + offset(log(pieces)) + (1 | day), family = poisson, data = counts)

# Cracked or not, one level always cracked: Firth by the modified score equations.
y <- c(0, 0, 1, 0, 1, 0, 1, 1, 1, 1, 1, 1)
x <- c(0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1)
z <- c(1, 2, 3, 1, 2, 3, 1, 2, 3, 1, 2, 3)
X <- cbind(1, x, z); b <- rep(0, 3)
for (i in 1:500) {
  pr <- as.vector(plogis(X %*% b)); W <- pr * (1 - pr); I <- t(X) %*% (W * X)
  h <- W * rowSums((X %*% solve(I)) * X)
  b <- b + as.vector(solve(I, t(X) %*% (y - pr + h * (0.5 - pr))))
}
cat('{\n  "crossed": {"recipe": ', num(coef(m)[5:6]), ', "se": ', num(sqrt(diag(vcov(m)))[5:6]),
    ', "thresholds": ', num(coef(m)[1:4]), ', "assessor": ', sprintf("%.10g", v["assessor"]),
    ', "day": ', sprintf("%.10g", v["day"]), ', "loglik": ', sprintf("%.12g", logLik(m)),
    ', "lr": ', sprintf("%.10g", 2 * (logLik(m) - logLik(m0))), '},\n', sep = "")
cat('  "counts": {"coef": ', num(coef(g)), ', "se": ', num(s$coefficients[, 2]),
    ', "dispersion": ', sprintf("%.12g", s$dispersion), ', "deviance": ', sprintf("%.12g", deviance(g)),
    ', "f_oven": ', sprintf("%.12g", a["oven", "F value"]), '},\n', sep = "")
cat('  "counts_day": {"coef": ', num(fixef(p)), ', "se": ', num(sqrt(diag(as.matrix(vcov(p))))), ', "variance": ',
    sprintf("%.8g", VarCorr(p)$day[1, 1]), ', "loglik": ', sprintf("%.12g", logLik(p)), '},\n', sep = "")
cat('  "firth": {"coef": ', num(b), ', "se": ', num(sqrt(diag(solve(I)))), '}\n}\n', sep = "")
