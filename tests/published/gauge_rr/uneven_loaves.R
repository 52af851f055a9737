# Heights of loaves (mm, synthetic) by three bakers: cells missing and unequal.
# Oracle for the uneven gauge study: lme4 by restricted maximum likelihood, lm for the F test of the interaction.
# Rscript uneven_loaves.R   (R 4.2.2, lme4; writes uneven_loaves.csv and prints uneven_loaves.json)
library(lme4)
set.seed(20261)
cells <- expand.grid(reading = 1:3, loaf = 1:9, baker = c("Ada", "Ben", "Cleo"))
piece <- rnorm(9, 44, 2)
offset <- c(Ada = 0.5, Ben = -0.3, Cleo = 0.1)
both <- matrix(rnorm(27, 0, 0.45), 9, 3, dimnames = list(NULL, names(offset)))
cells$height <- round(piece[cells$loaf] + offset[cells$baker] +
  both[cbind(cells$loaf, match(cells$baker, names(offset)))] + rnorm(nrow(cells), 0, 0.4), 1)
gone <- c(2, 3, 9, 14, 28, 29, 30, 44, 45, 61, 66, 70, 71)
d <- cells[-gone, c("baker", "loaf", "reading", "height")]
write.csv(d, "uneven_loaves.csv", row.names = FALSE, quote = FALSE)
d$baker <- factor(d$baker); d$loaf <- factor(d$loaf)
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5))
parts <- function(m) { v <- as.data.frame(VarCorr(m)); setNames(as.list(v$vcov), v$grp) }
full <- lmer(height ~ 1 + (1 | baker) + (1 | loaf) + (1 | baker:loaf), d, control = tight)
add <- lmer(height ~ 1 + (1 | baker) + (1 | loaf), d, control = tight)
test <- anova(lm(height ~ baker + loaf, d), lm(height ~ baker * loaf, d))
d$own <- interaction(d$baker, d$loaf, drop = TRUE)
nested <- lmer(height ~ 1 + (1 | baker) + (1 | own), d, control = tight)
cat(jsonlite::toJSON(list(with_interaction = parts(full), without_interaction = parts(add), nested = parts(nested),
  interaction = list(f = test$F[2], df = test$Df[2], df_error = test$Res.Df[2], p = test$`Pr(>F)`[2])),
  auto_unbox = TRUE, digits = 10, pretty = TRUE), "\n")
