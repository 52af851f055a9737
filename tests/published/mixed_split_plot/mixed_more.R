# Five mixed models of unbalanced baking data, made up here and fitted with R 4.2.2, lme4 1.1-31,
# pbkrtest 0.5.2 and lmerTest 3.1-3. Run in this folder: Rscript mixed_more.R
# Writes <case>.csv and mixed_more.json.
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest); library(jsonlite)})
options(digits = 15, contrasts = c("contr.treatment", "contr.poly"))
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = 0.2, rhoend = 1e-9, maxfun = 1e5),
                     check.conv.singular = "ignore", check.conv.grad = "ignore")
answers <- list()
keep <- function(name, data, formula, reduced = formula, weights = NULL) {
  data$w_ <- if (is.null(weights)) rep(1, nrow(data)) else weights
  fit <- lmerTest::lmer(formula, data, weights = w_, control = tight)
  ml <- lme4::lmer(formula, data, weights = w_, control = tight, REML = FALSE)
  # Kenward and Roger on the edge: without the term whose variance is 0.
  less <- lmerTest::lmer(reduced, data, weights = w_, control = tight)
  kr <- anova(less, ddf = "Kenward-Roger", type = 3)
  st <- anova(fit, type = 3)
  table <- function(a) lapply(split(as.data.frame(a), rownames(a)), function(r)
    list(f = r[["F value"]], ndf = r[["NumDF"]], ddf = r[["DenDF"]]))
  one <- function(m) lapply(split(as.data.frame(m), rownames(m)), function(r)
    list(estimate = r[["Estimate"]], se = r[["Std. Error"]], df = r[["df"]]))
  v <- as.data.frame(VarCorr(fit))
  answers[[name]] <<- list(
    formula = deparse1(formula), n = nrow(data), weighted = !is.null(weights),
    columns = colnames(getME(fit, "X")), x = unname(as.matrix(getME(fit, "X"))),
    variances = lapply(seq_len(nrow(v)), function(i) list(group = v$grp[i], a = v$var1[i], b = v$var2[i], value = v$vcov[i])),
    deviance = REMLcrit(fit), ml_deviance = deviance(ml),
    kr = one(coef(summary(less, ddf = "Kenward-Roger"))), satterthwaite = one(coef(summary(fit))),
    f_kr = table(kr), f_satterthwaite = table(st),
    blups = lapply(ranef(fit), function(r) lapply(r, identity)))
  data$w_ <- NULL
  if (!is.null(weights)) data$weight <- weights
  write.csv(data, paste0(name, ".csv"), row.names = FALSE, quote = FALSE)
}
set.seed(5101)  # nested: day > batch > loaf, readings of a loaf; powder differs between batches
d <- expand.grid(reading = 1:3, loaf = 1:3, batch = 1:3, day = 1:7)
d$batch <- paste0(d$day, "b", d$batch); d$loaf <- paste0(d$batch, "l", d$loaf)
d$powder <- factor(c("A", "B", "C"))[(as.integer(factor(d$batch)) + d$day) %% 3 + 1]
d$height <- round(60 + 2 * (d$powder == "B") - (d$powder == "C") + rnorm(7, 0, 2)[d$day] +
  rnorm(21, 0, 1.5)[factor(d$batch)] + rnorm(63, 0, 1)[factor(d$loaf)] + rnorm(nrow(d)), 2)
d <- d[runif(nrow(d)) > 0.3, c("day", "batch", "loaf", "powder", "height")]
keep("nested_three_levels", d, height ~ powder + (1 | day) + (1 | batch) + (1 | loaf))
set.seed(5102)  # crossed: days and assessors, missing cells, two factors of treatment
d <- expand.grid(assessor = paste0("p", 1:7), day = paste0("d", 1:9), soda = c(1, 2), acid = c("cream", "lemon", "whey"))
d$taste <- round(5 + 0.6 * d$soda + 0.5 * (d$acid == "lemon") + rnorm(7, 0, 0.8)[d$assessor] +
  rnorm(9, 0, 0.5)[d$day] + rnorm(nrow(d), 0, 1), 2)
d <- d[runif(nrow(d)) > 0.65, ]
keep("crossed_day_assessor", d, taste ~ soda * acid + (1 | day) + (1 | assessor))
set.seed(5103)  # slope of water that varies between days
d <- data.frame(day = rep(paste0("d", 1:12), times = c(5, 9, 4, 7, 8, 3, 6, 9, 5, 8, 4, 6)))
d$water <- round(runif(nrow(d), -10, 10), 1)  # beyond 65 %: R differentiates numerically and needs it centred
k <- as.integer(factor(d$day, unique(d$day)))
d$salt <- factor(sample(c("low", "high"), nrow(d), TRUE), c("low", "high"))
d$volume <- round(560 + 4 * d$water + 10 * (d$salt == "high") + rnorm(12, 0, 15)[k] +
  rnorm(12, 0, 1.2)[k] * d$water + rnorm(nrow(d), 0, 8), 1)
keep("slope_by_day", d, volume ~ water + salt + (1 + water | day))
set.seed(5107)  # three terms of which one has no variance
d <- expand.grid(load = 1:3, day = paste0("d", 1:8), rep = 1:3)
d$assessor <- paste0("p", (seq_len(nrow(d)) * 7) %% 5)
d$load <- paste0(d$day, "l", d$load)
d$flour <- factor(sample(c("A", "B"), nrow(d), TRUE))
noise <- rnorm(nrow(d))
noise <- noise - ave(noise, d$load) * 0.98
d$height <- round(50 + 1.5 * (d$flour == "B") + rnorm(8, 0, 1.5)[factor(d$day)] + rnorm(5, 0, 1)[factor(d$assessor)] + noise, 2)
d <- d[runif(nrow(d)) > 0.15, ]
keep("one_variance_zero", d[, c("day", "load", "assessor", "flour", "height")], height ~ flour + (1 | day) + (1 | load) + (1 | assessor),
     reduced = height ~ flour + (1 | day) + (1 | assessor))
set.seed(5105)  # split-plot with lost bakes and means of several pieces as weights
d <- expand.grid(dose = 1:4, plot = 1:8)
d$oven <- factor(c("hot", "mild"))[(d$plot %% 2) + 1]
d$dose <- factor(d$dose); d$plot <- factor(paste0("w", d$plot))
d <- d[runif(nrow(d)) > 0.2, ]
pieces <- sample(1:6, nrow(d), TRUE)
d$rise <- round(80 + as.integer(d$dose) * 3 + 4 * (d$oven == "hot") + rnorm(8, 0, 3)[d$plot] + rnorm(nrow(d), 0, 4 / sqrt(pieces)), 2)
keep("weighted_split_plot", d, rise ~ oven * dose + (1 | plot), weights = pieces)
write(toJSON(answers, digits = NA, auto_unbox = TRUE, pretty = FALSE, na = "null"), "mixed_more.json")
