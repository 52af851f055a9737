# Open data sets through models of R 4.2.2: lme4 1.1-31, lmerTest 3.1-3, pbkrtest 0.5.2, emmeans 1.8.4-1.
# Run in this folder: Rscript open_data.R    Writes the csv files and open_data.json.
# Data: pastes (Davies & Goldsmith 1972, lme4::Pastes), oats (Yates 1935, nlme::Oats), machines (Milliken &
# Johnson 1992, nlme::Machines), loaves (made up here by a rule). Rows and cells are taken out by stated rules.
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest); library(emmeans); library(jsonlite)})
options(digits = 15, contrasts = c("contr.sum", "contr.poly"))
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = 0.2, rhoend = 1e-10, maxfun = 1e5))
fit <- function(formula, data) lmerTest::lmer(formula, data, control = tight)
plain <- function(d) { for (n in names(d)) if (is.factor(d[[n]])) d[[n]] <- as.character(d[[n]]); as.data.frame(d) }
put <- function(d, name) write.csv(plain(d), paste0(name, ".csv"), row.names = FALSE, quote = FALSE)
variances <- function(m) { v <- as.data.frame(VarCorr(m)); as.list(setNames(v$vcov, v$grp)) }
tests <- function(a) lapply(split(as.data.frame(a), trimws(rownames(a))), function(r)
  list(df = r[["NumDF"]], df_error = r[["DenDF"]], value = r[["F value"]], p = r[["Pr(>F)"]]))
pairs_of <- function(m, factor) { e <- emmeans(m, as.formula(paste("~", factor))); p <- pairs(e)
  s <- summary(p, infer = TRUE); lapply(seq_len(nrow(s)), function(i) as.list(s[i, ])) }
out <- list()

d <- plain(lme4::Pastes); put(d, "pastes")
m <- fit(strength ~ 1 + (1 | batch) + (1 | batch:cask), d)
out$pastes <- list(variances = variances(m), mean = as.list(coef(summary(m, ddf = "Kenward-Roger"))[1, ]))

d <- plain(nlme::Oats)[, c("Block", "Variety", "nitro", "yield")]; put(d, "oats")
d$nf <- factor(d$nitro); d$Variety <- factor(d$Variety)
cell <- d[!(d$Variety == "Victory" & d$nitro == 0.6), ]          # a whole cell was never grown
both <- fit(yield ~ Variety * nf + (1 | Block) + (1 | Block:Variety), cell)
sum_ <- fit(yield ~ Variety + nf + (1 | Block) + (1 | Block:Variety), cell)
out$oats_cell <- list(variances = variances(sum_), additive = tests(anova(sum_, ddf = "Kenward-Roger", type = 2)),
                      joint = tests(anova(both, ddf = "Kenward-Roger", type = 2))[["Variety:nf"]])
gap <- d[-c(1, 5, 14, 33, 60), ]                                  # five plots lost
m <- fit(yield ~ Variety * nf + (1 | Block) + (1 | Block:Variety), gap)
out$oats_gap <- list(variances = variances(m), tests = tests(anova(m, ddf = "Kenward-Roger", type = 2)),
                     pairs = pairs_of(m, "Variety"))

d <- plain(nlme::Machines); put(d, "machines"); d$Machine <- factor(d$Machine)
d <- d[-c(2, 3, 6, 17, 19, 20, 21, 40, 41), ]
m <- fit(score ~ Machine + (1 | Worker) + (1 | Worker:Machine), d)
out$machines_gap <- list(variances = variances(m), kr = tests(anova(m, ddf = "Kenward-Roger")),
                         satterthwaite = tests(anova(m)), pairs = pairs_of(m, "Machine"))

# Loaves: three factors, two baked twice over, two pairs with cells never baked; scatter by a rule.
d <- expand.grid(flour = c("rye", "spelt", "wheat"), fat = c("butter", "oil"), oven = c("deck", "rack", "wood"), go = 1:2)
d <- d[!((d$flour == "wheat" & d$oven == "wood") | (d$fat == "oil" & d$oven == "rack")), ]
u <- sin(seq_len(nrow(d)) * 12.9898) * 43758.5453
d$height <- round(50 + as.integer(d$flour) * 2 + (d$flour == "spelt") * (d$fat == "oil") * 6 + 4 * (u - floor(u)), 4)
put(d[, c("flour", "fat", "oven", "height")], "loaves_cells")
m <- lm(height ~ flour + fat + oven + flour:fat + flour:oven + fat:oven, d)
a <- drop1(m, ~ flour:fat + flour:oven + fat:oven, test = "F")
out$loaves_cells <- lapply(split(a[-1, ], rownames(a)[-1]), function(r)
  list(df = r$Df, sum_sq = r$`Sum of Sq`, df_error = m$df.residual, value = r$`F value`, p = r$`Pr(>F)`))
write_json(out, "open_data.json", digits = NA, auto_unbox = TRUE, pretty = TRUE)
